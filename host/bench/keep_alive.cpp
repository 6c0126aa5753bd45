// SPDX-License-Identifier: MIT
#include "host/bench/keep_alive.hpp"
#include <algorithm>

namespace yokedock::bench {

namespace {
constexpr link::Milliseconds kShortestPeriod{20};
constexpr link::Milliseconds kUnlimited{1000}; ///< a bench that states no silence limit
} // namespace

KeepAlive::KeepAlive(const Bench& bench) : requester_(bench.requester()) {
    const link::Milliseconds limit{bench.identity().silence_limit_ms};
    const link::Milliseconds period =
        limit.count() == 0 ? kUnlimited : std::max(kShortestPeriod, limit / 4);
    thread_ = std::thread([this, period] { run(period); });
}

KeepAlive::~KeepAlive() {
    {
        const std::lock_guard lock(mutex_);
        end_ = true;
    }
    ended_.notify_all();
    thread_.join();
}

void KeepAlive::run(link::Milliseconds period) {
    std::unique_lock lock(mutex_);
    while (!ended_.wait_for(lock, period / 2, [this] { return end_; })) {
        if (requester_.since_last_frame() >= period / 2) {
            const auto ignored = requester_.ask<wire::requests::status>({});
            if (!ignored) {
                return;
            }
        }
    }
}

} // namespace yokedock::bench
