// SPDX-License-Identifier: MIT
#include "host/analysis/level.hpp"
#include "host/analysis/least_squares.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr double kSeen = 5;         // standard uncertainties
constexpr std::size_t kBlocks = 16; // stretches of time whose means are compared for slow wander
constexpr std::size_t kHarmonics[] = {1, 2, 4};
constexpr std::size_t kColumns = 1 + 2 * std::size(kHarmonics);

Matrix design_of(const std::vector<double>& t, double mains_hz) {
    Matrix design(t.size(), kColumns);
    for (std::size_t i = 0; i < t.size(); ++i) {
        double* row = design.row(i);
        row[0] = 1;
        for (std::size_t h = 0; h < std::size(kHarmonics); ++h) {
            const double angle =
                2 * M_PI * mains_hz * static_cast<double>(kHarmonics[h]) * (t[i] - t.front());
            row[1 + 2 * h] = std::cos(angle);
            row[2 + 2 * h] = std::sin(angle);
        }
    }
    return design;
}

// Variance of a mean from the scatter of means over stretches of time: sees wander that single
// samples hide.
double variance_from_blocks(const std::vector<double>& residual) {
    const std::size_t blocks = std::min(kBlocks, residual.size() / 4);
    if (blocks < 4) {
        return 0;
    }
    double sum2 = 0;
    for (std::size_t b = 0; b < blocks; ++b) {
        const std::size_t from = b * residual.size() / blocks;
        const std::size_t to = (b + 1) * residual.size() / blocks;
        double mean = 0;
        for (std::size_t i = from; i < to; ++i) {
            mean += residual[i] / static_cast<double>(to - from);
        }
        sum2 += mean * mean;
    }
    const auto n = static_cast<double>(blocks);
    return sum2 / (n - 1) / n;
}

Estimate peak_to_peak(const LinearFit& fit, std::size_t column, double variance, double step_u) {
    const double a = fit.coefficients[column];
    const double b = fit.coefficients[column + 1];
    const double noise = variance * (fit.inverse_normal(column, column) +
                                     fit.inverse_normal(column + 1, column + 1));
    return {2 * std::sqrt(std::max(0.0, a * a + b * b - noise)),
            2 * std::sqrt(noise / 2 + 2 * step_u * step_u)};
}

void plain_mean(const std::vector<double>& y, Level& level, std::vector<double>& residual) {
    double mean = 0;
    for (const double v : y) {
        mean += v / static_cast<double>(y.size());
    }
    level.mean.value = mean;
    for (std::size_t i = 0; i < y.size(); ++i) {
        residual[i] = y[i] - mean;
    }
}

} // namespace

Level measure_level(const capture::Samples& samples, double mains_hz) {
    Level level;
    const std::vector<double>& y = samples.value;
    level.count = y.size();
    if (y.empty()) {
        level.problem = "no samples";
        return level;
    }
    const auto [low, high] = std::minmax_element(y.begin(), y.end());
    level.minimum = *low;
    level.maximum = *high;
    std::vector<double> residual(y.size());
    plain_mean(y, level, residual);
    double spread2 = 0;
    for (const double r : residual) {
        spread2 += r * r;
    }
    const auto n = static_cast<double>(y.size());
    const double spread = std::sqrt(spread2 / std::max(1.0, n - 1));
    const double step_u =
        quantised_mean_u(samples.resolution, noise_before_quantiser(samples.resolution, spread));
    const double duration = samples.time_s.back() - samples.time_s.front();
    double variance_of_mean = spread * spread / n;
    LinearFit best;
    if (y.size() >= 40 && duration * 50 >= 1.5) { // else a sine and the mean are one
        for (const double f : {50.0, 60.0}) {
            if (mains_hz > 0 && f != 50.0) {
                break;
            }
            const double tried = mains_hz > 0 ? mains_hz : f;
            LinearFit fit = least_squares(design_of(samples.time_s, tried), y);
            if (fit.ok && (!best.ok || fit.rss < best.rss)) {
                best = std::move(fit);
                level.mains_hz = tried;
            }
        }
    }
    if (best.ok) {
        const Matrix design = design_of(samples.time_s, level.mains_hz);
        for (std::size_t i = 0; i < y.size(); ++i) {
            residual[i] = y[i];
            for (std::size_t j = 0; j < kColumns; ++j) {
                residual[i] -= design(i, j) * best.coefficients[j];
            }
        }
        const double variance = best.residual_sd() * best.residual_sd();
        level.mean.value = best.coefficients[0];
        variance_of_mean = variance * best.inverse_normal(0, 0);
        level.ripple_mains = peak_to_peak(best, 1, variance, step_u);
        level.ripple_twice = peak_to_peak(best, 3, variance, step_u);
        level.ripple_ok = true;
        level.mains_seen = level.ripple_twice.value > kSeen * level.ripple_twice.u ||
                           level.ripple_mains.value > kSeen * level.ripple_mains.u;
    }
    level.mean.u =
        std::sqrt(std::max(variance_of_mean, variance_from_blocks(residual)) + step_u * step_u);
    level.ok = true;
    return level;
}

} // namespace yokedock::analysis
