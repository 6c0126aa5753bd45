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

constexpr double kMaxBenchSeconds = 6.0;

/// The captures of a measurement in order: edges, edges (both), vertical, horizontal four times,
/// slow.
[[nodiscard]] std::vector<CapturePhase> measurement_phases(const wire::SyncAchieved& plan,
                                                           const PhaseSeconds& seconds);

[[nodiscard]] double total_seconds(const std::vector<CapturePhase>& phases);

} // namespace yokedock::capture
