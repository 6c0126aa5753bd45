// SPDX-License-Identifier: MIT
// Shape of a ramp in a window (MEASUREMENTS section 2). All from a fit, never from extreme samples.
#pragma once
#include "host/analysis/ramp_fit.hpp"
#include "host/analysis/retrace.hpp"
#include <optional>

namespace yokedock::analysis {

/// One value of a ramp.
struct ShapeValue {
    double value = 0;
    double u = 0;
    double u_scale = 0; ///< part of u from gain and zero
    double place = 0;   ///< where it shows most, -1 (start of the window) to 1 (its end)
};

struct RampShape {
    bool ok = false;
    std::string problem;
    ShapeValue pp;                ///< largest minus smallest current of the fit in the window
    ShapeValue centring;          ///< P0: mean current over the window
    ShapeValue bow_pct;           ///< P2 / pp, after the intended S; > 0: the late end is stretched
    ShapeValue s_pct;             ///< P3 / pp as it is; < 0: ends compressed, as S-correction does
    ShapeValue s_error_pct;       ///< P3 / pp after the intended S was taken off
    ShapeValue linearity_lsq_pct; ///< largest distance from the least-squares line, % of pp
    ShapeValue
        linearity_end_pct;  ///< largest distance from the line through the window's end points
    ShapeValue spacing_pct; ///< 10 equal times: 100 (max - min) / (max + min) of the current steps
    ShapeValue spacing_mean_pct; ///< 100 (max - min) / mean
    ShapeValue foldover_pct;     ///< part of the window in which the current runs backwards
    RampFit fit;                 ///< of the signed current over the window
};

struct RampScale {
    double gain_u_relative = 0;
    double zero_u = 0;
};

/// Parameters of S that is meant to be there: i = A sin(q x'), x' = -1 .. 1 over the trace.
struct IntendedS {
    double q = 0;
    double trace_begin_s = 0;
    double trace_end_s = 0;
};

struct ShapeInput {
    Window window;
    double begin_u_s = 0; ///< standard uncertainty of the window's ends against the picture
    double end_u_s = 0;
    double direction = 1; ///< of Segments
    RampScale scale;
    IntendedS intended;
};

[[nodiscard]] RampShape measure_ramp(const Fold& fold, const ShapeInput& input,
                                     const RampFitOptions& options = {});

} // namespace yokedock::analysis
