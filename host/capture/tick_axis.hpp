// SPDX-License-Identifier: MIT
#pragma once
#include <cstdint>

namespace yokedock::capture {

/// Unwraps the device's 32-bit tick count to 64 bits. A time is taken as the one nearest to the
/// newest time seen, so it may be up to 2^31 ticks (134 s at 16 MHz) older or newer. The axis
/// starts with the first time's own value.
class TickAxis {
  public:
    [[nodiscard]] std::int64_t unwrap(std::uint32_t ticks) {
        if (!started_) {
            started_ = true;
            newest_ = ticks;
        }
        const auto step = static_cast<std::int32_t>(ticks - static_cast<std::uint32_t>(newest_));
        const std::int64_t full = newest_ + step;
        newest_ = full > newest_ ? full : newest_;
        return full;
    }

    [[nodiscard]] std::int64_t newest() const { return newest_; }

  private:
    std::int64_t newest_ = 0;
    bool started_ = false;
};

} // namespace yokedock::capture
