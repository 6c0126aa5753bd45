// SPDX-License-Identifier: MIT
#pragma once
#include <atomic>

namespace yokedock::link {

/// Asks "has the user had enough?". Copies look at one flag, which a signal handler may set (a
/// lock-free atomic is safe there; std::stop_source is not). A default token never stops. The flag
/// must outlive its tokens.
class StopToken {
  public:
    StopToken() = default;
    explicit StopToken(const std::atomic<bool>& flag) : flag_(&flag) {}
    [[nodiscard]] bool stopped() const { return flag_ != nullptr && flag_->load(); }

  private:
    const std::atomic<bool>* flag_ = nullptr;
};

static_assert(std::atomic<bool>::is_always_lock_free);

} // namespace yokedock::link
