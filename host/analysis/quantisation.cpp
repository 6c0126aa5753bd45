// SPDX-License-Identifier: MIT
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>
#include <numbers>

namespace yokedock::analysis {
namespace {

constexpr int kHarmonics = kQuantiserHarmonics;

double term_amplitude(double step, double noise, int k) {
    return quantised_mean_amplitude(step, noise, k);
}

} // namespace

double quantised_mean_amplitude(double step, double noise, int k) {
    const double ratio = std::numbers::pi * k * noise / step;
    return step / (std::numbers::pi * k) * std::exp(-2 * ratio * ratio);
}

double quantised_mean_u(double step, double noise) {
    if (!(step > 0)) {
        return 0;
    }
    if (noise < 1e-3 * step) {
        return step / std::sqrt(12.0);
    }
    double sum = 0;
    for (int k = 1; k <= kHarmonics; ++k) {
        const double a = term_amplitude(step, noise, k);
        sum += 0.5 * a * a;
    }
    return std::sqrt(sum);
}

double noise_before_quantiser(double step, double observed_sd) {
    return std::sqrt(std::max(0.0, observed_sd * observed_sd - step * step / 12));
}

double quantised_slope_u(double step, double noise, double increment, std::size_t count) {
    if (!(step > 0) || count < 2) {
        return 0;
    }
    const auto n = static_cast<double>(count);
    const double sxx = n * (n * n - 1) / 12;
    double sum = 0;
    for (int k = 1; k <= kHarmonics; ++k) {
        double nu = std::fmod(std::abs(increment) / step * k, 1.0);
        nu = std::min(nu, 1 - nu);        // cycles of error per reading
        nu = std::max(0.0, nu - 1.0 / n); // the increment is known only to about a step / n
        // |sum of (i - mean) exp(2 pi j nu i)|: never above 0.22 n^2, and n / (4 sin(pi nu)) far
        // from 0.
        const double slow = 0.22 * n * n;
        const double weight =
            nu > 0 ? std::min(slow, n / (4 * std::sin(std::numbers::pi * nu))) : slow;
        const double a = term_amplitude(step, noise, k) * weight / sxx;
        sum += 0.5 * a * a;
    }
    return std::sqrt(sum);
}

double quantised_place_u(double step, double increment, std::size_t count) {
    if (!(step > 0) || count == 0) {
        return 0;
    }
    const auto n = static_cast<double>(count);
    double sum = 0;
    for (int k = 1; k <= kHarmonics; ++k) {
        double nu = std::fmod(std::abs(increment) / step * k, 1.0);
        nu = std::min(nu, 1 - nu);
        nu = std::max(0.0, nu - 1.0 / n); // as above
        // |sum of exp(2 pi j nu i)| / n
        const double weight = nu > 0 ? std::min(1.0, 1 / (n * std::sin(std::numbers::pi * nu))) : 1;
        const double a = term_amplitude(step, 0, k) * weight;
        sum += 0.5 * a * a;
    }
    return std::sqrt(sum);
}

} // namespace yokedock::analysis
