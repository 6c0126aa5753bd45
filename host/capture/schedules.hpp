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
    double horizontal =
        0.25; ///< each of two; samples and line edges together exceed what the link carries for
              ///< long (94 kB/s against 90), so the pool must bridge the rest
    double slow = 0.6;
};

constexpr double kMaxBenchSeconds = 6.0;

/// The captures of a measurement in order: edges, edges (both), vertical, horizontal twice, slow.
[[nodiscard]] std::vector<CapturePhase> measurement_phases(const wire::SyncAchieved& plan,
                                                           const PhaseSeconds& seconds);

[[nodiscard]] double total_seconds(const std::vector<CapturePhase>& phases);

} // namespace yokedock::capture
