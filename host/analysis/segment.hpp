// SPDX-License-Identifier: MIT
// Where trace and retrace are in a folded ramp: coarse, but sure.
#pragma once
#include "host/analysis/fold.hpp"
#include <string>

namespace yokedock::analysis {

/// Times are phases; they are unrolled so that retrace_begin < retrace_end < retrace_begin +
/// period, and may lie outside [0, period).
struct Segments {
    std::string problem;  ///< why there is no ramp, for a person; empty when there is one
    double direction = 1; ///< +1: the trace rises
    double low = 0;       ///< level near the trace's lower end
    double high = 0;      ///< and its upper end
    double retrace_begin_s = 0;
    double retrace_end_s = 0;
    double cross_s = 0; ///< retrace passes the middle here
};

/// Needs samples all round the period.
[[nodiscard]] Segments find_segments(const Fold& fold);

/// Samples with phases unrolled to [from, from + period): a window may straddle the mark.
[[nodiscard]] inline double unroll(double phase_s, double from_s, double period_s) {
    double t = phase_s;
    while (t < from_s) {
        t += period_s;
    }
    while (t >= from_s + period_s) {
        t -= period_s;
    }
    return t;
}

} // namespace yokedock::analysis
