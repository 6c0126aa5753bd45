// SPDX-License-Identifier: MIT
#include "host/analysis/period_walk.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr double kSlopeOverMean = 6.0 / 5; // variance of the least-squares slope of a random walk

// What each period is longer than the fitted one, where both its ends were seen.
std::vector<double> period_errors(const PeriodFit& fit) {
    std::vector<double> errors;
    for (std::size_t i = 1; i < fit.edges.size(); ++i) {
        const IndexedEdge& a = fit.edges[i - 1];
        const IndexedEdge& b = fit.edges[i];
        if (b.run == a.run && b.index == a.index + 1) {
            errors.push_back(b.time_s - a.time_s - fit.period_s);
        }
    }
    return errors;
}

double covariance(const std::vector<double>& v, std::size_t lag) {
    double sum = 0;
    for (std::size_t i = lag; i < v.size(); ++i) {
        sum += v[i] * v[i - lag];
    }
    return sum / static_cast<double>(v.size());
}

} // namespace

double free_running_u_hz(const PeriodFit& fit) {
    const std::vector<double> errors = period_errors(fit);
    if (errors.size() < 3) {
        return fit.rate_u_hz;
    }
    const auto n = static_cast<double>(errors.size());
    const auto lags = static_cast<std::size_t>(std::cbrt(n));
    double variance = covariance(errors, 0) * n / (n - 1);
    for (std::size_t k = 1; k <= lags; ++k) {
        const double weight = 1 - static_cast<double>(k) / static_cast<double>(lags + 1);
        variance += 2 * weight * covariance(errors, k);
    }
    const double period_u_s = std::sqrt(kSlopeOverMean * std::max(0.0, variance) / n);
    return std::max(fit.rate_u_hz, period_u_s / (fit.period_s * fit.period_s));
}

} // namespace yokedock::analysis
