// SPDX-License-Identifier: MIT
#include "host/bench/rates.hpp"

namespace yokedock::bench {
namespace {

/// The difference of two ratios of 64-bit integers, without rounding.
__extension__ typedef __int128 Wide;

/// Length of `half_lines` half lines, in 1 / half_line_denominator ticks. Below 2^59: 2500 half
/// lines of 2^16 ticks in parts of 2^30.
std::uint64_t parts(const wire::SyncAchieved& plan, std::uint32_t half_lines) {
    return half_lines *
           (static_cast<std::uint64_t>(plan.half_line_ticks) * plan.half_line_denominator +
            plan.half_line_numerator);
}

} // namespace

ExactRate line_rate(const wire::SyncAchieved& plan, std::uint32_t clock_hz) {
    return {static_cast<std::uint64_t>(clock_hz) * plan.half_line_denominator, parts(plan, 2)};
}

ExactRate field_rate(const wire::SyncAchieved& plan, std::uint32_t clock_hz) {
    return {static_cast<std::uint64_t>(clock_hz) * plan.half_line_denominator,
            parts(plan, plan.half_lines)};
}

double line_rate_error(const wire::SyncSettings& asked, const wire::SyncAchieved& plan,
                       std::uint32_t clock_hz) {
    const ExactRate rate = line_rate(plan, clock_hz);
    const Wide achieved = Wide(rate.numerator) * Wide(asked.line_rate_denominator);
    const Wide wanted = Wide(rate.denominator) * Wide(asked.line_rate_numerator);
    return static_cast<double>(achieved - wanted) / static_cast<double>(wanted);
}

std::uint32_t field_ticks(const wire::SyncAchieved& plan) {
    std::uint32_t accumulator = 0;
    return sync::slot_ticks(plan, accumulator, plan.half_lines) + 1;
}

} // namespace yokedock::bench
