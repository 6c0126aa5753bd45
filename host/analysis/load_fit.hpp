// SPDX-License-Identifier: MIT
// One or two lagged exponentials through the samples of a load step, and how any function of their
// parameters is uncertain. Inside of load_step.hpp.
#pragma once
#include "host/analysis/load_step.hpp"
#include "host/analysis/prior_fit.hpp"
#include <array>

namespace yokedock::analysis {

/// Parameters in this order: base level, input lag, time origin, then amplitude and ln(tau) of each
/// rise.
enum LoadParameter : std::size_t { kBase, kLag, kOrigin, kFirstRise };

struct LoadFit {
    PriorFit fit;
    std::size_t rises = 0;
    std::vector<FitParameter> parameters;
    double sd = 0;     ///< of the residuals
    double fit_sd = 0; ///< weights were 1 / fit_sd^2, from the round before: within 1 %, mostly
    double noise = 0;  ///< of it, before the quantiser

    [[nodiscard]] double amplitude(std::size_t k) const { return fit.p[kFirstRise + 2 * k]; }
    [[nodiscard]] double tau_s(std::size_t k) const;
    [[nodiscard]] std::size_t faster() const; ///< index of the rise
    [[nodiscard]] double degrees_of_freedom() const;
};

/// Samples in time order, those that count. Not empty.
struct LoadPoints {
    std::vector<double> t;
    std::vector<double> y;
};

/// Shortest time constant that a fit of these points tries: far below lag and spacing.
[[nodiscard]] double least_tau_s(const LoadPoints& points, const StepSamples& samples);

[[nodiscard]] LoadFit fit_one_rise(const LoadPoints& points, const StepSamples& samples);
/// Begins from a search over pairs of time constants. Returns `one` when no pair explains more.
[[nodiscard]] LoadFit fit_two_rises(const LoadPoints& points, const StepSamples& samples,
                                    const LoadFit& one);

/// As two, but the faster rise is a jump: shorter than anything seen.
[[nodiscard]] LoadFit fit_rise_and_jump(const LoadPoints& points, const StepSamples& samples,
                                        const LoadFit& two);

/// The fitted curve.
[[nodiscard]] double load_value(const LoadFit& fit, double t_s);

using LoadFunction = std::function<double(const std::vector<double>& p)>;

/// What makes f(p) uncertain, from samples and front end: noise, quantiser, lag, origin, zero,
/// non-linearity. Not gain and drive, which stand outside of the fit.
[[nodiscard]] Budget fit_budget(const LoadFit& fit, const StepSamples& samples,
                                const LoadFunction& f);

} // namespace yokedock::analysis
