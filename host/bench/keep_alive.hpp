// SPDX-License-Identifier: MIT
#pragma once
#include "host/bench/bench.hpp"
#include <condition_variable>
#include <mutex>
#include <thread>

namespace yokedock::bench {

/// Asks for the bench's status from a thread of its own whenever nothing else was heard for a
/// quarter of the silence limit, so that long work on the host (or a question to the user) does not
/// switch the supply off. Errors are left to the next request of the owner. Must end before its
/// Bench does; moving the Bench is harmless.
class KeepAlive {
  public:
    explicit KeepAlive(const Bench& bench);
    KeepAlive(const KeepAlive&) = delete;
    KeepAlive& operator=(const KeepAlive&) = delete;
    ~KeepAlive();

  private:
    void run(link::Milliseconds period);

    link::Requester& requester_;
    std::mutex mutex_;
    std::condition_variable ended_;
    bool end_ = false;
    std::thread thread_;
};

} // namespace yokedock::bench
