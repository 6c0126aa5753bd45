// SPDX-License-Identifier: MIT
// Edges of pulses in sampled voltages: what the bench's comparators do in hardware. Pure; inside
// the module only.
#pragma once
#include "host/capture/observation.hpp"
#include <optional>
#include <vector>

namespace yokedock::record {

struct Pulse {
    double begin_s;
    double end_s;
    double begin_gap_s; ///< the begin may lie anywhere in +-half of this: the whole step between
                        ///< two samples for a jump, a small part of it for a slope of many samples
};

/// The median of the pulses' gaps; 0 without pulses.
[[nodiscard]] double typical_gap(const std::vector<Pulse>& pulses);

/// Pulses above (below when `negative`) the middle between the low and the high level, whole ones
/// only: one cut off by either end of the samples is left out. Edges are interpolated between
/// samples; a hysteresis of 10 % of the swing keeps noise from making edges. The levels are the 2nd
/// and 99.5th percentile (mirrored when negative), so pulses must fill 1 to 90 % of the time. Empty
/// when the signal swings by less than least_swing.
[[nodiscard]] std::vector<Pulse> find_pulses(const std::vector<double>& time_s,
                                             const std::vector<double>& value, bool negative,
                                             double least_swing);

/// Composite or separate sync to a timeline. The level that is held for less of the time is taken
/// as sync. Line starts need steps of at most a third of the line sync's width and a nominal line
/// rate; field starts need the broad pulses. With neither, an empty timeline.
[[nodiscard]] capture::SyncTimeline
read_sync(const std::vector<double>& time_s, const std::vector<double>& value, double line_rate_hz);

} // namespace yokedock::record
