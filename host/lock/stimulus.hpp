// SPDX-License-Identifier: MIT
// Sync at a rate of the sweep, and what a sweep is when nothing is said. Pure.
#pragma once
#include "host/lock/sweep_types.hpp"
#include "host/result.hpp"

namespace yokedock::lock {

/// A line rate below this part of nominal is sent only when the user allows it by name: the line
/// output stage stores energy for longer in each line, and its transistor and retrace capacitor see
/// more than they were chosen for.
constexpr double kLowestLineShare = 0.92;

/// The sweep's nominal sync at this rate of the axis swept, Hz.
/// Vertical: the half lines per field that come nearest at the nominal line rate, which is then
/// trimmed (by half of one in so many half lines at the most: 0.1 %, twice that where a field must
/// have whole lines) so that the field rate is exact to 1 mHz. Horizontal: the line rate is exact
/// to 10 mHz, and whole lines per field follow so that the field rate stays nearest
/// (within 0.2 %). kUsage: outside low_hz to
/// high_hz, or not what the device can make.
[[nodiscard]] Result<wire::SyncSettings> sync_at(const SweepSettings& sweep, double rate_hz);

/// Sync whose pulses of one kind are narrower than the set ones, rates untouched. The bench's sync
/// level is fixed by resistors, so width is how sync is made weaker by program; a weaker level
/// needs a potentiometer in the sync lead.
struct NarrowSync {
    wire::SyncSettings settings;
    double pulse_s = 0; ///< line sync pulse, or all broad pulses of a field together
};

/// Horizontal: line and equalising pulses times `part`. Vertical: the time at sync level that an
/// integrator gathers in a field's broad pulses, times `part`: narrower broad pulses (wider
/// serrations) and, where those reach the device's limit, fewer. What cannot be made so narrow is
/// made as narrow as it can: pulse_s tells. part: over 0 to 1 (asserted).
[[nodiscard]] NarrowSync narrow_sync(SweepAxis axis, const wire::SyncSettings& sync, double part);
/// The least part that differs from a larger one.
[[nodiscard]] double least_sync_part(SweepAxis axis, const wire::SyncSettings& sync);

/// Range, steps and times for this axis that need nothing else. kUsage when the sync cannot be
/// made.
[[nodiscard]] Result<SweepSettings> default_sweep(SweepAxis axis, const wire::SyncSettings& sync,
                                                  std::uint32_t clock_hz);

/// kUsage with what is wrong: range not round the nominal rate, steps not positive or larger than
/// the range, a resolution above the step, a line rate below kLowestLineShare without allow_low.
[[nodiscard]] Status check_sweep(const SweepSettings& sweep, bool allow_low);

} // namespace yokedock::lock
