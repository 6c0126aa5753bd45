// SPDX-License-Identifier: MIT
// A smooth curve through a window of a folded waveform, with a covariance that stays honest when
// residuals hang together: along the period (quantisation, shape the model cannot follow) and from
// period to period (hum, wander).
#pragma once
#include "host/analysis/basis.hpp"
#include "host/analysis/fold.hpp"
#include "host/analysis/least_squares.hpp"
#include <string>

namespace yokedock::analysis {

/// Phases, unrolled: begin < end < begin + period; begin may be negative.
struct Window {
    double begin_s = 0;
    double end_s = 0;
    [[nodiscard]] double unit(double t) const {
        return (2 * t - begin_s - end_s) / (end_s - begin_s);
    }
    [[nodiscard]] double time(double x) const {
        return (begin_s + end_s) / 2 + x * (end_s - begin_s) / 2;
    }
};

struct RampFit {
    bool ok = false;
    std::string problem; ///< when not ok
    Window window;
    Basis basis;
    std::vector<double> c;
    Matrix white;  ///< covariance if all residuals were independent
    Matrix along;  ///< clustered by place in the period
    Matrix across; ///< clustered by period; empty with fewer than 6 of them
    double residual_sd = 0;
    std::size_t samples = 0;
    std::size_t groups = 0;

    [[nodiscard]] double value(double x) const; ///< x in [-1, 1] over the window
    /// Variance of g'c: white noise, plus what each kind of clustering finds beyond it.
    [[nodiscard]] double variance(const std::vector<double>& gradient) const;
};

struct RampFitOptions {
    std::size_t min_degree = 5;
    std::size_t max_degree = 9;
    std::size_t max_intervals = 32; ///< 0: polynomials only
};

/// Fits the cells inside the window; the model order is the one that lowers the information
/// criterion.
[[nodiscard]] RampFit fit_ramp(const Fold& fold, const Window& window,
                               const RampFitOptions& options = {});

} // namespace yokedock::analysis
