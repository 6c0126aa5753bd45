// SPDX-License-Identifier: MIT
// Retrace of a folded ramp: how long, between which levels, where trace begins and ends.
//
// The input lag is one pole, so what went into it is y + delay * y' exactly: the fitted retrace is
// turned back by that, which a mere shift in time could not do for a slope that bends.
#pragma once
#include "host/analysis/segment.hpp"
#include <functional>
#include <string>

namespace yokedock::analysis {

/// Part of the nominal lag that is not known: tolerance of the capacitor (common practice, no
/// source).
inline constexpr double kDelayRelativeU = 0.05;

/// A value with its standard uncertainty from scatter and model (no gain, no zero).
struct Estimate {
    double value = 0;
    double u = 0;
};

struct Retrace {
    bool ok = false;
    std::string problem;    ///< when not ok
    Estimate width_10_90_s; ///< between 90 % and 10 % of the swing between the extremes
    Estimate full_s;        ///< between the extremes
    Estimate swing;         ///< from extreme to extreme, positive
    Estimate begin_s;       ///< phase of the extreme where trace ends; unrolled as in Segments
    Estimate end_s; ///< phase of the extreme where trace begins; begin < end < begin + period
    std::size_t count = 0; ///< places inside the retrace
    /// What the fit says the samples are, trace made to rise, for phases from fit_from_s to
    /// fit_to_s (in the samples' own time: input lag as fold() left it). Empty when not ok.
    std::function<double(double)> seen;
    double fit_from_s = 0;
    double fit_to_s = 0;
    std::size_t parameters = 0; ///< coefficients of that fit
};

/// Longest stretch in and near retrace (half its length to either side) without a sample, seconds,
/// when it is so much longer than elsewhere in the period that the figures of retrace may be wrong
/// by more than their u; else 0. segments as below.
[[nodiscard]] double unsampled_retrace_s(const Fold& fold, const Segments& segments);

/// Largest less smallest of the fold itself, averaged over five neighbouring cells: less precise
/// than Retrace::swing, but bound to no idea of where retrace ends. A check on it. 0 with fewer
/// than five cells.
[[nodiscard]] double plain_swing(const Fold& fold);

/// segments must be of this fold and without a problem.
[[nodiscard]] Retrace measure_retrace(const Fold& fold, const Segments& segments);

} // namespace yokedock::analysis
