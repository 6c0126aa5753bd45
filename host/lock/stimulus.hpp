// SPDX-License-Identifier: MIT
// Sync at a rate of the sweep, and what a sweep is when nothing is said. Pure.
#pragma once
#include "host/lock/sweep_types.hpp"
#include "host/result.hpp"

namespace yokedock::lock {

/// A line rate below this part of nominal is sent only when the user allows it by name: the line
/// output stage stores energy for longer in each line, and its transistor and retrace capacitor see
/// more than they were chosen for (DESIGN section 10).
constexpr double kLowestLineShare = 0.92;

/// The sweep's nominal sync at this rate of the axis swept, Hz.
/// Vertical: the half lines per field that come nearest at the nominal line rate, which is then
/// trimmed (by half of one in so many half lines at the most: 0.1 %, twice that where a field must
/// have whole lines) so that the field rate is exact to 1 mHz. Horizontal: the line rate is exact
/// to 10 mHz, and whole lines per field follow so that the field rate stays nearest
/// (within 0.2 %). kUsage: outside low_hz to
/// high_hz, or not what the device can make.
[[nodiscard]] Result<wire::SyncSettings> sync_at(const SweepSettings& sweep, double rate_hz);

/// Range, steps and times for this axis that need nothing else. kUsage when the sync cannot be
/// made.
[[nodiscard]] Result<SweepSettings> default_sweep(SweepAxis axis, const wire::SyncSettings& sync,
                                                  std::uint32_t clock_hz);

/// kUsage with what is wrong: range not round the nominal rate, steps not positive or larger than
/// the range, a resolution above the step, a line rate below kLowestLineShare without allow_low.
[[nodiscard]] Status check_sweep(const SweepSettings& sweep, bool allow_low);

} // namespace yokedock::lock
