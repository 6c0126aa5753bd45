// SPDX-License-Identifier: MIT
// What a full measurement captures, as settings. Pure.
#pragma once
#include "host/capture/capture_run.hpp"
#include <vector>

namespace yokedock::capture {

/// Device seconds of the phases. The defaults suit field rates from 45 to 70 Hz; their sum, with
/// what the phases need between them, stays below kMaxBenchSeconds.
struct PhaseSeconds {
    double edges = 1.0;       ///< rising edges of both retrace inputs: rates, jitter
    double edges_both = 0.15; ///< both directions: retrace widths, line by line
    double vertical = 1.25;   ///< 60 fields at 48 Hz
    /// Each of four, interleaved to one place per tick. While line edges are stamped the device
    /// samples every second line: what the processor and the link carry for any length of time.
    double horizontal = 0.2;
    double slow = 0.6;
};

/// The same for a board whose supply the bench guards. Every capture then looks at supply, output
/// node and retrace peak within each millisecond, and the guard's samples take lines from the
/// others: vertical load current 5 lines of 11 (in place of 4 of 7 or 8), its output node 2 of 11,
/// horizontal load current about one sample in 9 lines (in place of one in 2), for which the longer
/// time makes up in part: some 3500 samples in place of 6300. Slow channels come as often as before
/// or more, at twice the converter clock.
constexpr PhaseSeconds kGuardedSeconds{0.8, 0.15, 1.25, 0.55, 0.5};

constexpr double kMaxBenchSeconds = 6.0;

/// Which schedules a capture may have.
enum class Guarding {
    kNone,   ///< the bench does not switch the supply: every line is for the measurement
    kWatched ///< the device refuses what leaves guarded channels unsampled for a millisecond
};

/// The captures of a measurement in order: edges, edges (both), vertical, horizontal four times,
/// slow.
[[nodiscard]] std::vector<CapturePhase> measurement_phases(const wire::SyncAchieved& plan,
                                                           const PhaseSeconds& seconds,
                                                           Guarding guarding = Guarding::kNone);

/// Adds entries that only the guard sees, one for each channel that may have a limit. For captures
/// of edges alone.
void add_quiet_guard(wire::CaptureSettings& settings, const wire::SyncAchieved& plan);

/// All channels in turn, a line each where the rate allows: what a stage of the start reads.
[[nodiscard]] CapturePhase all_channels(const wire::SyncAchieved& plan, double seconds);

[[nodiscard]] double total_seconds(const std::vector<CapturePhase>& phases);

} // namespace yokedock::capture
