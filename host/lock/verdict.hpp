// SPDX-License-Identifier: MIT
// What a sweep says about the board as a whole. Pure.
#pragma once
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

/// Least distance of the set rate from a limit, as a share of the set rate. An RC oscillator of
/// 300 ppm/K drifts by 0.9 % while it warms by 30 K: closer than this it loses lock on a warm day
/// or a cold morning. Common practice, no source.
constexpr double kLeastMarginShare = 0.01;

/// The reasons to call the board faulty or misadjusted, in sentences; none: good, or not measured
/// far enough to tell.
[[nodiscard]] std::vector<std::string> reasons_against(const SweepSummary& summary);

} // namespace yokedock::lock
