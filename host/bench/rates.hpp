// SPDX-License-Identifier: MIT
// Rates of a sync plan. Pure.
#pragma once
#include "shared/sync/plan.hpp"
#include <cstdint>

namespace yokedock::bench {

/// A rate as a ratio of integers, so that nothing is lost before the one division.
struct ExactRate {
    std::uint64_t numerator = 0;
    std::uint64_t denominator = 1;
    [[nodiscard]] double hz() const {
        return static_cast<double>(numerator) / static_cast<double>(denominator);
    }
};

/// Line rate of a plan on a device with this clock: clock / (2 half lines).
[[nodiscard]] ExactRate line_rate(const wire::SyncAchieved& plan, std::uint32_t clock_hz);

/// Field rate: clock / (half_lines half lines).
[[nodiscard]] ExactRate field_rate(const wire::SyncAchieved& plan, std::uint32_t clock_hz);

/// Line rate achieved over line rate asked for, minus 1.
[[nodiscard]] double line_rate_error(const wire::SyncSettings& asked,
                                     const wire::SyncAchieved& plan, std::uint32_t clock_hz);

/// One field in device ticks, rounded up.
[[nodiscard]] std::uint32_t field_ticks(const wire::SyncAchieved& plan);

} // namespace yokedock::bench
