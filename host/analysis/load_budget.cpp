// SPDX-License-Identifier: MIT
#include "host/analysis/load_fit.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>
#include <complex>
#include <map>
#include <numbers>

namespace yokedock::analysis {
namespace {

// By central differences; small against the parameter's uncertainty and its size.
std::vector<double> gradient(const LoadFit& fit, const LoadFunction& f) {
    std::vector<double> g(fit.fit.p.size(), 0.0);
    for (std::size_t k = 0; k < g.size(); ++k) {
        const double sd = std::sqrt(fit.fit.covariance(k, k));
        if (!fit.fit.free[k] || !(sd > 0)) {
            continue;
        }
        const double step = 1e-3 * sd;
        auto p = fit.fit.p;
        p[k] = fit.fit.p[k] + step;
        const double above = f(p);
        p[k] = fit.fit.p[k] - step;
        g[k] = (above - f(p)) / (2 * step);
    }
    return g;
}

// df / dy of every sample: what the estimate follows when that sample moves.
std::vector<double> influence(const LoadFit& fit, const std::vector<double>& w) {
    std::vector<double> h(fit.fit.value.size(), 0.0);
    for (std::size_t i = 0; i < h.size(); ++i) {
        for (std::size_t k = 0; k < w.size(); ++k) {
            h[i] += w[k] * fit.fit.derivative(i, k);
        }
        h[i] /= fit.fit_sd * fit.fit_sd;
    }
    return h;
}

double white_u(const LoadFit& fit, const std::vector<double>& h, double resolution) {
    const double mean_u = resolution > 0 ? quantised_mean_u(resolution, fit.noise) : 0;
    double sum2 = 0;
    for (const double x : h) {
        sum2 += x * x;
    }
    return std::sqrt(sum2 * std::max(0.0, fit.sd * fit.sd - mean_u * mean_u));
}

// Variance by one harmonic of the quantiser's error. Readings at one level share the error; which
// part of a step a level lies at is as good as random, and how it compares with that of another
// level, too: the fit itself follows codes. So readings add up within a step's width and in squares
// beyond. shift: of the steps' borders.
double harmonic_variance(const std::vector<double>& x_steps, const std::vector<double>& h, int k,
                         double shift) {
    std::map<long, std::complex<double>> levels;
    for (std::size_t i = 0; i < h.size(); ++i) {
        levels[std::lround(x_steps[i] + shift)] +=
            std::polar(h[i], 2 * std::numbers::pi * k * x_steps[i]);
    }
    double sum = 0;
    for (const auto& [level, total] : levels) {
        sum += std::norm(total) / 2;
    }
    return sum;
}

double quantiser_u(const LoadFit& fit, const std::vector<double>& h, double resolution) {
    if (!(resolution > 0)) {
        return 0;
    }
    std::vector<double> x_steps;
    for (const double value : fit.fit.value) {
        x_steps.push_back(value / resolution);
    }
    double variance = 0;
    for (int k = 1; k <= kQuantiserHarmonics; ++k) {
        const double a = quantised_mean_amplitude(resolution, fit.noise, k);
        if (a < 1e-4 * resolution) {
            break;
        }
        // A level at the border of two would count as two: the worse of two ways to cut.
        variance +=
            a * a *
            std::max(harmonic_variance(x_steps, h, k, 0), harmonic_variance(x_steps, h, k, 0.5));
    }
    return std::sqrt(variance);
}

// A converter's curve may depart from the line in the middle of the swing, or at its end.
double linearity_u(const LoadFit& fit, const std::vector<double>& h, double most_a) {
    const auto [low, high] = std::minmax_element(fit.fit.value.begin(), fit.fit.value.end());
    const double swing = *high - *low;
    if (!(most_a > 0) || !(swing > 0)) {
        return 0;
    }
    double bent = 0;
    double tilted = 0;
    for (std::size_t i = 0; i < h.size(); ++i) {
        const double x = (fit.fit.value[i] - *low) / swing;
        bent += h[i] * 4 * x * (1 - x);
        tilted += h[i] * x;
    }
    return most_a * std::hypot(bent, tilted);
}

} // namespace

double total_u(const Budget& budget) {
    double sum2 = 0;
    for (const BudgetLine& line : budget) {
        sum2 += line.u * line.u;
    }
    return std::sqrt(sum2);
}

Budget fit_budget(const LoadFit& fit, const StepSamples& samples, const LoadFunction& f) {
    const auto g = gradient(fit, f);
    std::vector<double> w(g.size(), 0.0); // covariance times gradient
    for (std::size_t a = 0; a < g.size(); ++a) {
        for (std::size_t b = 0; b < g.size(); ++b) {
            w[a] += fit.fit.covariance(a, b) * g[b];
        }
    }
    const auto h = influence(fit, w);
    const auto known = [&](LoadParameter k) {
        const double u = fit.parameters[k].known_u;
        return fit.fit.free[k] && std::isfinite(u) ? std::abs(w[k]) / u : 0.0;
    };
    // Without a known start, the zero shifts the base and the final current alike.
    double zero = known(kBase);
    if (!samples.starts_from_zero) {
        zero = std::abs(g[kBase]) * samples.zero_u_a;
    }
    return {{"noise", white_u(fit, h, samples.resolution_a), false, true},
            {"quantiser", quantiser_u(fit, h, samples.resolution_a), false, true},
            {"zero", zero, true, false},
            {"input lag", known(kLag), true, false},
            {"time origin", known(kOrigin), true, false},
            {"converter linearity", linearity_u(fit, h, samples.linearity_u_a), true, false}};
}

} // namespace yokedock::analysis
