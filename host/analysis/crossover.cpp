// SPDX-License-Identifier: MIT
#include "host/analysis/crossover.hpp"
#include "host/analysis/quantisation.hpp"
#include "host/analysis/segment.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

// In units of x (the window is 2 long).
constexpr double kInner = 0.04;
constexpr double kOuter = 0.20;
constexpr std::size_t kMinPlaces = 4;

double zero_crossing(const RampFit& fit) {
    constexpr int kSteps = 200;
    for (int i = 0; i < kSteps; ++i) {
        const double a = -1 + 2.0 * i / kSteps;
        const double b = -1 + 2.0 * (i + 1) / kSteps;
        const double ya = fit.value(a);
        const double yb = fit.value(b);
        if (ya * yb <= 0 && ya != yb) {
            return a + (b - a) * ya / (ya - yb);
        }
    }
    return std::nan("");
}

} // namespace

Crossover measure_crossover(const Fold& fold, const RampFit& fit) {
    Crossover result;
    const double zero = zero_crossing(fit);
    if (std::isnan(zero) || std::abs(zero) > 1 - kOuter) {
        result.problem = "the current does not pass zero inside the window";
        return result;
    }
    // A straight line, a bend, and a kink term: the inner piece may have a slope of its own.
    // Columns: 1, d, d^2, d^3, and clamp(d, inner).
    std::vector<double> y;
    std::vector<double> weight;
    std::vector<double> distance;
    std::size_t inner = 0;
    for (const Cell& c : fold.cells) {
        const double t = unroll(c.phase_s, fit.window.begin_s, fold.period_s);
        const double d = (fit.window.unit(t) - zero) / kOuter;
        if (t <= fit.window.end_s && std::abs(d) <= 1) {
            distance.push_back(d);
            y.push_back(c.value);
            weight.push_back(static_cast<double>(c.count));
            inner += std::abs(d) <= kInner / kOuter ? 1u : 0u;
        }
    }
    if (inner < kMinPlaces) {
        result.problem = "too few places near zero current were sampled";
        return result;
    }
    Matrix design(y.size(), 5);
    for (std::size_t i = 0; i < y.size(); ++i) {
        const double d = distance[i];
        double* row = design.row(i);
        row[0] = 1;
        row[1] = d;
        row[2] = d * d;
        row[3] = d * d * d;
        row[4] = std::min(std::max(d, -kInner / kOuter), kInner / kOuter);
    }
    const LinearFit solved = least_squares(design, y, weight);
    if (!solved.ok || solved.coefficients[1] == 0) {
        result.problem = "places near zero current do not determine a slope";
        return result;
    }
    const double outside = solved.coefficients[1];
    const double kink = solved.coefficients[4];
    const std::vector<double> g = {0, -kink / (outside * outside), 0, 0, 1 / outside};
    // Unit weight is one sample. Steps that noise does not wash out add to every place's mean,
    // however many samples it has.
    double samples = 0;
    for (const double w : weight) {
        samples += w / static_cast<double>(weight.size());
    }
    const double steps_u =
        quantised_mean_u(fold.resolution, noise_before_quantiser(fold.resolution, fold.noise_sd));
    const double sd =
        std::max(solved.residual_sd(), std::hypot(fold.noise_sd, steps_u * std::sqrt(samples)));
    result.slope_pct = {100 * (1 + kink / outside),
                        100 * sd * std::sqrt(quadratic_form(g, solved.inverse_normal, g))};
    result.count = y.size();
    result.ok = true;
    return result;
}

} // namespace yokedock::analysis
