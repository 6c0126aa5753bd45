// SPDX-License-Identifier: MIT
// What a board really does under ideal sync, read off dense noiseless waveforms by brute force and
// by the direct definitions: the values system tests compare the host's figures with. Shares no
// code with the analysis.
#pragma once
#include "demo/virtual_bench/board/board_model.hpp"
#include "shared/wire/messages.hpp"

namespace yokedock::sim {

/// Definitions: linearity from the plain least-squares line, from the end-point line, and ten equal
/// time steps, all in the window from 5 to 95 % of the trace (the time from one extreme to the
/// next).
struct RampTruth {
    double peak_to_peak = 0;       ///< between the extremes
    double centring = 0;           ///< mean over the window
    double retrace_extremes_s = 0; ///< from extreme to extreme
    double retrace_10_90_s = 0;
    double linearity_lsq_pct = 0;
    double linearity_end_pct = 0;
    double spacing_pct = 0;
    double spacing_mean_pct = 0;
};

struct RateTruth {
    bool running = false; ///< retrace pulses came at all
    bool locked = false;  ///< one pulse per sync period, phase within the bound for the whole time
    double rate_hz = 0;   ///< mean over the time watched
    double jitter_s = 0;  ///< rms of the edges against the best straight line through them
    double phase_s = 0; ///< mean of retrace begin after the sync's line or field start, when locked
    double pulse_width_s = 0;
};

struct BoardTruth {
    RateTruth line;
    RateTruth field;
    RampTruth horizontal;
    RampTruth vertical;
    double supply_v = 0;
    double supply_a = 0;
    double supply_ripple_v = 0; ///< peak to peak
    double h_peak_v = 0;
    double v_out_max_v = 0;
    double v_out_min_v = 0;
    double heatsink_c = 0;
};

struct TruthOptions {
    double settle_s = 1.0;
    double watch_s = 0.4;
    bool sync = true;           ///< false: free-running
    double line_bound_s = 2e-6; ///< locked: all phases within +- this of their mean
    double field_bound_s = 50e-6;
    std::vector<FaultUse> live = {}; ///< faults that come and go, on top of the values
};

/// Runs a new board with these values under ideal sync (or none) and reads the truth off it.
/// settings must be ones that sync::make_plan accepts (asserted).
[[nodiscard]] BoardTruth measure_truth(const BoardParameters& p, const wire::SyncSettings& settings,
                                       const TruthOptions& options = {});

/// The direct definitions, on any dense ramp: times and values of one trace, extreme to extreme.
void judge_trace(const std::vector<double>& time_s, const std::vector<double>& value,
                 RampTruth& out);

} // namespace yokedock::sim
