// SPDX-License-Identifier: MIT
// The rates a lock sweep found, as figures: what a diagnosis and a profile make use of. Pure.
#pragma once
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

/// Always four figures, named after the axis swept (v_ or h_):
///   v_free_rate_hz      mean of the free runs before and after; u joins theirs and their difference
///                       taken as a rectangle's width (the oscillator drifted in between)
///   v_hold_below_pct    how far below the set rate lock is held, % of the set rate, above 0: middle
///   v_hold_above_pct    between the last rate held and the first one lost; u is that interval over
///                       sqrt(12)
///   v_pull_in_share_pct width of the range in which lock is found again, % of the width of that in
///                       which it is held, between the same middles
/// Not measured with the reason where no limit was found, or the set rate is not inside the range:
/// a range that does not hold the set rate is told by the free run. u_clock is 0: the bench's clock
/// is not in a summary; in the percentages it drops out.
[[nodiscard]] analysis::FigureSet sweep_figures(const SweepSummary& summary);

} // namespace yokedock::lock
