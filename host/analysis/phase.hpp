// SPDX-License-Identifier: MIT
// Phase of a retrace edge against sync, and what follows from it: locked or not, jitter, interlace.
#pragma once
#include "host/analysis/period.hpp"
#include <string>

namespace yokedock::analysis {

/// One retrace edge seen against the sync it followed.
struct PhasePoint {
    double time_s;
    double phase; ///< periods of sync, counted through: moves by 1 per slip; first point in [0, 1)
    std::int64_t sync; ///< number of the sync start before the edge
    std::int64_t edge; ///< number of the edge
    std::size_t run;   ///< points of one run are counted through without doubt
};

struct PhaseTrack {
    std::vector<PhasePoint> points;
    double sync_period_s = 0;
    double edge_period_s = 0;
    double rate_ratio = 0; ///< edge rate over sync rate
};

/// Sync that is steady is taken as its straight line: a generator's 62.5 ns steps are not the
/// board's jitter. Empty points when either side has fewer than 3 marks or they never overlap in
/// time.
[[nodiscard]] PhaseTrack track_phase(const PeriodFit& sync, const PeriodFit& edges);

struct LockCriteria {
    double phase_bound =
        0.10; ///< largest peak to peak of the phase, periods (jitter and hum included)
    double drift_bound =
        0.02; ///< largest drift over the dwell, periods: a locked loop still follows warm-up
    std::size_t min_edges = 8;
};

enum class LockState {
    kLocked,
    kUnlocked,   ///< phase runs through, slips or moves further than the criteria allow
    kOtherRatio, ///< locked, but at another ratio: half rate, double rate, 2:3 ...
    kUndecided,  ///< too few edges
};

struct LockDecision {
    LockState state = LockState::kUndecided;
    std::string text; ///< one sentence: why
    double phase = 0; ///< mean phase, periods, 0 to 1
    double phase_u = 0;
    double phase_span = 0; ///< peak to peak, periods
    double drift = 0;      ///< slope times dwell, periods
    double drift_u = 0;
    long slips = 0; ///< whole periods gained or lost
    double dwell_s = 0;
    std::size_t count = 0;
};

[[nodiscard]] LockDecision decide_lock(const PhaseTrack& track, const LockCriteria& criteria = {});

struct Jitter {
    double rms_s = 0; ///< of the edge about its place, the timestamps' own steps taken off
    double rms_u_s = 0;
    double peak_s = 0; ///< largest distance from the place
    double successive_s =
        0; ///< rms of the change from one edge to the next: line to line, field to field
    double successive_u_s = 0;
    std::size_t count = 0;
};

/// From residuals about the place each edge should have (line, or mean phase). resolution_s as in
/// PulseTrain.
[[nodiscard]] Jitter jitter_of(const std::vector<double>& residual_s,
                               const std::vector<IndexedEdge>& edges, double resolution_s);

struct Interlace {
    bool ok = false;
    double offset_lines = 0; ///< 0.5 is perfect, 0 or 1 is pairing
    double u_lines = 0;
    std::size_t count = 0;
};

/// How far the fields that start in mid-line stand from the others, in lines. mid_line goes with
/// sync.edges by index (mid_line[i] belongs to sync number i).
[[nodiscard]] Interlace interlace_of(const PhaseTrack& fields, const std::vector<bool>& mid_line,
                                     double line_period_s);

} // namespace yokedock::analysis
