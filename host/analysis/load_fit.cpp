// SPDX-License-Identifier: MIT
#include "host/analysis/load_fit.hpp"
#include "host/analysis/load_curve.hpp"
#include "host/analysis/load_start.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr int kGrid = 48;     // time constants tried at first, 1.3 apart over six decades
constexpr int kPairGrid = 22; // and in pairs
constexpr std::size_t kPairPoints = 600; // the pairs need not see more: the fit after them does
constexpr double kPromise = 8; // chi-square of the pair's sample; chance reaches it 1 in 50 times
constexpr double kLongestWindows = 30; // time constants up to this many windows
constexpr double kTauStep = 1e-7;      // relative; half the digits: error as small from both sides
constexpr int kSdRounds = 3;           // weight of the samples against what is known beforehand

double bounded_lag(double lag_s) {
    return std::max(0.0, lag_s);
}

FitModel model_of(const LoadPoints& points, std::size_t rises) {
    return [&points, rises](const std::vector<double>& p, std::vector<double>& value, Matrix& d) {
        const double lag = bounded_lag(p[kLag]);
        const double lag_step = std::max(1e-4 * lag, 1e-12);
        for (std::size_t i = 0; i < points.t.size(); ++i) {
            const double t = points.t[i] - p[kOrigin];
            value[i] = p[kBase];
            d(i, kBase) = 1;
            for (std::size_t k = 0; k < rises && t > 0; ++k) {
                const std::size_t at = kFirstRise + 2 * k;
                const double a = p[at];
                const double tau = std::exp(p[at + 1]);
                const double rise = lagged_rise(t, tau, lag);
                value[i] += a * rise;
                d(i, at) = rise;
                d(i, at + 1) = a * (lagged_rise(t, tau * (1 + kTauStep), lag) - rise) / kTauStep;
                d(i, kOrigin) -= a * lagged_rise_slope(t, tau, lag);
                d(i, kLag) += a * (lagged_rise(t, tau, lag + lag_step) - rise) / lag_step;
            }
        }
    };
}

double first_sd(const LoadPoints& points, const StepSamples& samples, double rss) {
    const double scale = *std::max_element(points.y.begin(), points.y.end()) -
                         *std::min_element(points.y.begin(), points.y.end());
    // Never 0, so that samples without any error have weights, too.
    const double least = std::max({samples.resolution_a / std::sqrt(12.0), 1e-9 * scale, 1e-15});
    const double n = static_cast<double>(points.y.size());
    return std::max(least, std::sqrt(rss / std::max(1.0, n - 3)));
}

// How much the zero known beforehand counts in linear_start, in samples' weight.
double base_weight(const LoadPoints& points, const StepSamples& samples) {
    if (!samples.starts_from_zero) {
        return 0;
    }
    const double sd = first_sd(points, samples, 0);
    return samples.zero_u_a > 0 ? sd / samples.zero_u_a : 1e6;
}

std::vector<FitParameter> fixed_parameters(const StepSamples& samples) {
    std::vector<FitParameter> parameters(kFirstRise);
    if (samples.starts_from_zero) {
        parameters[kBase] = {0, samples.zero_u_a};
    }
    parameters[kLag] = {samples.lag_s, samples.lag_u_s, 0};
    parameters[kOrigin] = {0, samples.origin_u_s};
    return parameters;
}

void add_rise(std::vector<FitParameter>& parameters, double amplitude, double tau_s, double least_s,
              double most_s) {
    FitParameter a;
    a.start = amplitude;
    FitParameter ln_tau;
    ln_tau.start = std::log(tau_s);
    ln_tau.low = std::log(least_s);
    ln_tau.high = std::log(most_s);
    ln_tau.most_step = 1;
    parameters.push_back(a);
    parameters.push_back(ln_tau);
}

// From neighbours: residuals that a quantiser or a wrong model makes hang together, and would pass
// for noise that helps against the quantiser.
double rough_sd(const LoadPoints& points, const LoadFit& fit) {
    double sum2 = 0;
    for (std::size_t i = 1; i < points.y.size(); ++i) {
        const double now = points.y[i] - fit.fit.value[i];
        const double last = points.y[i - 1] - fit.fit.value[i - 1];
        sum2 += (now - last) * (now - last) / 2;
    }
    return std::sqrt(sum2 / static_cast<double>(points.y.size() - 1));
}

LoadFit refine(const LoadPoints& points, const StepSamples& samples,
               std::vector<FitParameter> parameters, double rss) {
    LoadFit result;
    result.rises = (parameters.size() - kFirstRise) / 2;
    result.parameters = std::move(parameters);
    result.sd = first_sd(points, samples, rss);
    const FitModel model = model_of(points, result.rises);
    for (int round = 0; round < kSdRounds; ++round) {
        result.fit_sd = result.sd;
        result.fit = fit_with_priors(model, points.y, result.sd, result.parameters, result.fit.p);
        const double before = result.sd;
        result.sd = std::max(first_sd(points, samples, 0),
                             std::sqrt(result.fit.rss / result.degrees_of_freedom()));
        if (std::abs(result.sd - before) < 0.01 * before) {
            break;
        }
    }
    const double rough = rough_sd(points, result);
    result.noise =
        samples.resolution_a > 0 ? noise_before_quantiser(samples.resolution_a, rough) : result.sd;
    return result;
}

// Whether two rises explain so much more that they are worth a whole fit.
bool promises(const LoadPoints& few, const LoadFit& one, const StepSamples& samples,
              double two_rss) {
    double one_rss = 0;
    for (std::size_t i = 0; i < few.t.size(); ++i) {
        const double off = few.y[i] - load_value(one, few.t[i]);
        one_rss += off * off;
    }
    const double per_point = std::max(two_rss / static_cast<double>(few.t.size()),
                                      std::pow(first_sd(few, samples, 0), 2));
    // One rise can also be had at the price of what was known beforehand.
    const double known = one.fit.chi2 - one.fit.rss / (one.fit_sd * one.fit_sd);
    return one_rss - two_rss > (kPromise - known) * per_point;
}

} // namespace

double load_value(const LoadFit& fit, double t_s) {
    const auto& p = fit.fit.p;
    double value = p[kBase];
    for (std::size_t k = 0; k < fit.rises; ++k) {
        value +=
            fit.amplitude(k) * lagged_rise(t_s - p[kOrigin], fit.tau_s(k), bounded_lag(p[kLag]));
    }
    return value;
}

double LoadFit::tau_s(std::size_t k) const {
    return std::exp(fit.p[kFirstRise + 2 * k + 1]);
}

std::size_t LoadFit::faster() const {
    return rises == 2 && tau_s(1) < tau_s(0) ? 1 : 0;
}

double LoadFit::degrees_of_freedom() const {
    return std::max(1.0, static_cast<double>(fit.value.size()) -
                             static_cast<double>(fit.p.size() - kLag - 1));
}

double least_tau_s(const LoadPoints& points, const StepSamples& samples) {
    const auto first = std::upper_bound(points.t.begin(), points.t.end(), 0.0);
    return std::max(samples.lag_s, first == points.t.end() ? 1e-9 : *first) / 20;
}

LoadFit fit_one_rise(const LoadPoints& points, const StepSamples& samples) {
    const double least = least_tau_s(points, samples);
    const double most = std::max(kLongestWindows * points.t.back(), 10 * least);
    const auto grid = log_grid(least, most, kGrid);
    const LinearSearch search(points.t, points.y, grid, samples.lag_s,
                              base_weight(points, samples));
    LinearStart best;
    double best_tau = least;
    for (std::size_t k = 0; k < grid.size(); ++k) {
        LinearStart start = search.with({k});
        if (start.rss < best.rss) {
            best = std::move(start);
            best_tau = grid[k];
        }
    }
    auto parameters = fixed_parameters(samples);
    if (best.amplitude.empty()) {
        best.amplitude = {0};
        best.rss = 0;
    }
    if (!samples.starts_from_zero) {
        parameters[kBase].start = best.base;
    }
    add_rise(parameters, best.amplitude[0], best_tau, least, most);
    return refine(points, samples, parameters, best.rss);
}

LoadFit fit_two_rises(const LoadPoints& points, const StepSamples& samples, const LoadFit& one) {
    const double least = least_tau_s(points, samples);
    const double most = std::max(kLongestWindows * points.t.back(), 10 * least);
    LoadPoints few;
    const std::size_t stride = 1 + points.t.size() / kPairPoints;
    for (std::size_t i = 0; i < points.t.size(); i += stride) {
        few.t.push_back(points.t[i]);
        few.y.push_back(points.y[i]);
    }
    const auto grid = log_grid(least, most, kPairGrid);
    const LinearSearch search(few.t, few.y, grid, samples.lag_s, base_weight(few, samples));
    LinearStart best;
    std::size_t best_slow = 1;
    std::size_t best_fast = 0;
    for (std::size_t slow = 1; slow < grid.size(); ++slow) {
        for (std::size_t fast = 0; fast < slow; ++fast) {
            LinearStart start = search.with({slow, fast});
            if (start.rss < best.rss) {
                best = std::move(start);
                best_slow = slow;
                best_fast = fast;
            }
        }
    }
    if (best.amplitude.empty() || !promises(few, one, samples, best.rss)) {
        return one;
    }
    auto parameters = fixed_parameters(samples);
    if (!samples.starts_from_zero) {
        parameters[kBase].start = best.base;
    }
    add_rise(parameters, best.amplitude[0], grid[best_slow], least, most);
    add_rise(parameters, best.amplitude[1], grid[best_fast], least, most);
    return refine(points, samples, parameters, best.rss * static_cast<double>(stride));
}

LoadFit fit_rise_and_jump(const LoadPoints& points, const StepSamples& samples,
                          const LoadFit& two) {
    auto parameters = two.parameters;
    for (std::size_t k = kFirstRise; k < parameters.size(); ++k) {
        parameters[k].start = two.fit.p[k];
    }
    FitParameter& fast = parameters[kFirstRise + 2 * two.faster() + 1];
    fast.start = fast.low;
    fast.known_u = 0;
    return refine(points, samples, parameters, two.fit.rss);
}

} // namespace yokedock::analysis
