// SPDX-License-Identifier: MIT
#include "host/link/memory_transport.hpp"
#include <algorithm>
#include <condition_variable>
#include <deque>
#include <mutex>

namespace yokedock::link {
namespace {

struct Shared {
    std::mutex mutex;
    std::condition_variable changed;
    std::deque<std::uint8_t> queue[2]; ///< queue[n] is read by end n
    bool closed = false;
};

Error closed_error() {
    return {ErrorKind::kLink,
            "link in memory lost: it was closed; expected an open stream; open it again"};
}

class MemoryTransport : public Transport {
  public:
    MemoryTransport(std::shared_ptr<Shared> shared, int end)
        : shared_(std::move(shared)), end_(end) {}
    MemoryTransport(const MemoryTransport&) = delete;
    MemoryTransport& operator=(const MemoryTransport&) = delete;
    ~MemoryTransport() override { MemoryTransport::close(); }

    Result<std::size_t> read(std::span<std::uint8_t> into, Milliseconds timeout) override {
        std::unique_lock lock(shared_->mutex);
        std::deque<std::uint8_t>& queue = shared_->queue[end_];
        shared_->changed.wait_for(lock, timeout, [&] { return !queue.empty() || shared_->closed; });
        if (queue.empty() && shared_->closed) {
            return closed_error();
        }
        const std::size_t count = std::min(into.size(), queue.size());
        std::copy_n(queue.begin(), count, into.begin());
        queue.erase(queue.begin(), queue.begin() + static_cast<std::ptrdiff_t>(count));
        return count;
    }

    Status write_all(Bytes bytes, Milliseconds) override {
        const std::lock_guard lock(shared_->mutex);
        if (shared_->closed) {
            return closed_error();
        }
        std::deque<std::uint8_t>& queue = shared_->queue[1 - end_];
        queue.insert(queue.end(), bytes.begin(), bytes.end());
        shared_->changed.notify_all();
        return Done{};
    }

    void close() override {
        const std::lock_guard lock(shared_->mutex);
        shared_->closed = true;
        shared_->changed.notify_all();
    }

    std::string kind() const override { return "memory"; }

  private:
    std::shared_ptr<Shared> shared_;
    int end_;
};

} // namespace

std::pair<std::unique_ptr<Transport>, std::unique_ptr<Transport>> make_memory_pair() {
    auto shared = std::make_shared<Shared>();
    return {std::make_unique<MemoryTransport>(shared, 0),
            std::make_unique<MemoryTransport>(shared, 1)};
}

} // namespace yokedock::link
