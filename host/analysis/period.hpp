// SPDX-License-Identifier: MIT
// Period and rate from edge timestamps (MEASUREMENTS section 1).
#pragma once
#include "host/analysis/edges.hpp"
#include <optional>

namespace yokedock::analysis {

/// A straight line through (index, time), with one offset per run and one period for all.
struct PeriodFit {
    double period_s = 0;
    double period_u_s = 0; ///< without the clock's scale: timing noise, slow wander, quantisation
    double rate_hz = 0;
    double rate_u_hz = 0;
    double timing_sd_s = 0; ///< sd of the residuals: sigma_t
    double bound_s =
        0; ///< sigma_t * sqrt(12 / (N (N^2 - 1))), generalised to gaps: the white-noise bound
    std::size_t count = 0; ///< edges used
    std::size_t missing = 0;
    std::size_t extra = 0;
    double duration_s = 0;
    double resolution_s = 0;         ///< as given
    std::vector<IndexedEdge> edges;  ///< those used
    std::vector<double> residual_s;  ///< time minus line, per edge used
    std::vector<double> run_start_s; ///< the line's time at index 0, per run

    [[nodiscard]] double line_s(const IndexedEdge& edge) const {
        return run_start_s[edge.run] + period_s * static_cast<double>(edge.index);
    }
    /// A generator: its edges stray from the line by no more than their own steps, or than a
    /// thousandth of a period, and are taken for the line.
    [[nodiscard]] bool steady() const;
    /// Standard uncertainty of the line's place from the steps alone: averaged where edges fall all
    /// over a step, the whole of it where they all fall at one place between two steps.
    [[nodiscard]] double place_u_s() const;
};

/// Least squares over all edges; edges far off the line (6 robust sd) are taken for extra ones.
/// Nothing when fewer than 3 edges remain. resolution_s: the step of the timestamps, 0 when
/// continuous.
[[nodiscard]] std::optional<PeriodFit>
fit_period(const std::vector<double>& times_s, double resolution_s,
           const std::vector<capture::Interval>& unwatched = {});

} // namespace yokedock::analysis
