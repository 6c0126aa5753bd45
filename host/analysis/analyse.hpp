// SPDX-License-Identifier: MIT
// Everything there is to say about one observation of a board.
//
// Figures (docs: MEASUREMENTS). v_ is vertical, h_ horizontal; each ends in its unit. A yes or no
// (v_locked, h_locked) is a figure of value 1 or 0 with u 0, unit "" and the reason in `method`.
// All names are always present: what could not be measured says why. u leaves the clock's scale
// out: it stands in u_clock (figure.hpp).
//
//   rates    {v,h}_rate_hz {v,h}_missing_edges {v,h}_extra_edges
//   sync     {v,h}_sync_rate_hz {v,h}_locked {v,h}_phase_us {v,h}_jitter_rms_us
//   {v,h}_jitter_peak_us
//            v_field_to_field_us h_line_to_line_us v_interlace_lines
//   ramp     {v,h}_yoke_pp_a _swing_a _centring_a _bow_pct _s_pct _s_error_pct _linearity_lsq_pct
//   _linearity_end_pct
//            _spacing_pct _spacing_mean_pct _foldover_pct _crossover_pct _hum_position_pct
//            _hum_size_pct
//   retrace  {v,h}_retrace_us (10 to 90 %) _retrace_full_us (between extremes) _retrace_pulse_us
//   (comparator) output   v_out_max_v v_out_min_v v_out_peak_ratio v_out_pulse_us
//            h_peak_v h_out_peak_v h_out_min_v h_out_width_50_us h_out_width_10_us
//   supply   supply_v supply_ripple_v (twice mains) supply_mains_v (mains) mains_hz supply_a
//   heatsink_c bench    ref_v ref_error_mv
#pragma once
#include "host/analysis/figure.hpp"
#include "host/analysis/phase.hpp"
#include "host/capture/observation.hpp"
#include <optional>

namespace yokedock::analysis {

/// Visible part of the trace, seconds after sync (field: first pulse of the field group; line:
/// leading edge of line sync). May begin below 0 or end beyond one period.
struct SyncWindow {
    double begin_s = 0;
    double end_s = 0;
};

/// Visible part of the trace by its own ends, 0 to 1: second choice, since its ends move with the
/// fault.
struct TracePart {
    double begin = 0.05;
    double end = 0.95;
};

struct AnalysisOptions {
    std::optional<SyncWindow>
        vertical_window; ///< used when locked to sync; else the part of trace below
    std::optional<SyncWindow> horizontal_window;
    TracePart vertical_trace_part;
    TracePart horizontal_trace_part;
    double vertical_s_q = 0; ///< intended S: current A sin(q x), x -1 .. 1 over the trace; 0 none
    double horizontal_s_q = 0;
    double mains_hz = 0; ///< 0: found from the supply's ripple
    LockCriteria vertical_lock;
    LockCriteria horizontal_lock;
};

/// A folded ramp for a picture: one point per place, in time order, one period with the window in
/// its middle (phases may lie below 0 or beyond a period).
struct RampPlot {
    std::string channel; ///< "v_yoke_a"
    std::string unit;
    bool against_sync = false; ///< phase 0 is sync; else the board's own retrace edge
    double window_begin_s = 0; ///< phases; the window in which shape was judged
    double window_end_s = 0;
    std::vector<double> phase_s;
    std::vector<double> value;    ///< mean of the samples there
    std::vector<double> fit;      ///< NaN outside the window
    std::vector<double> residual; ///< value - fit; NaN outside the window
};

/// The fitted ramp over its window, at kCurvePlaces equal times: for comparing two of them place by
/// place. All currents are signed, in `unit`.
struct RampCurve {
    std::string channel; ///< "v_yoke_a"
    std::string unit;
    bool against_sync = false; ///< the window is fixed to sync; else a part of the board's own trace
    double window_begin_s = 0;
    double window_end_s = 0;
    std::vector<double> value;
    std::vector<double> u;      ///< standard uncertainty without gain and zero of the channel
    double gain_u_relative = 0; ///< common to all measurements by one bench
    double zero_u = 0;
};
inline constexpr std::size_t kCurvePlaces = 101;

struct AnalysisResult {
    FigureSet figures;
    std::vector<RampPlot> ramps;   ///< those channels that gave a ramp
    std::vector<RampCurve> curves; ///< of the same channels, in the same order
    std::vector<std::string>
        warnings; ///< whole sentences: the bench is off, hum cannot be told from shape ...
};

/// Pure. Works with any subset of channels and edges.
[[nodiscard]] AnalysisResult analyse(const capture::Observation& observation,
                                     const AnalysisOptions& options = {});

} // namespace yokedock::analysis
