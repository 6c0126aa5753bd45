// SPDX-License-Identifier: MIT
#include "host/analysis/ramp.hpp"
#include "host/analysis/polynomial.hpp"
#include "host/analysis/propagate.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr std::size_t kGrid = 401; // odd, and 10 steps of 40: Simpson and spacing share it
constexpr std::size_t kSteps = 10;

enum Output { kPp, kMean, kBow, kS, kSError, kLsq, kEnd, kSpacing, kSpacingMean, kFold, kOutputs };

struct Evaluation {
    std::vector<double> value = std::vector<double>(kOutputs);
    double lsq_place = 0, end_place = 0, spacing_place = 0, fold_place = 0;
};

double grid_x(std::size_t i) {
    return -1 + 2 * static_cast<double>(i) / (kGrid - 1);
}

// c_k = (2k + 1) / 2 * integral of g P_k over [-1, 1], by Simpson's rule.
void project(const std::vector<double>& g, double* c, std::size_t degree) {
    std::fill(c, c + degree + 1, 0.0);
    double p[4];
    for (std::size_t i = 0; i < kGrid; ++i) {
        legendre(grid_x(i), degree, p);
        const double weight = (i == 0 || i == kGrid - 1) ? 1 : (i % 2 == 1 ? 4 : 2);
        for (std::size_t k = 0; k <= degree; ++k) {
            c[k] += weight * g[i] * p[k];
        }
    }
    for (std::size_t k = 0; k <= degree; ++k) {
        c[k] *= (2 * static_cast<double>(k) + 1) / 2 * 2 / (kGrid - 1) / 3;
    }
}

// P2 and P3 of the ramp once A (sin(theta) - its own straight part) is taken off, A from the ramp's
// slope.
void take_off_s(const IntendedS& s, const Window& window, const double* c, double* rest) {
    rest[0] = c[2];
    rest[1] = c[3];
    const double span = s.trace_end_s - s.trace_begin_s;
    if (!(s.q > 0) || !(span > 0)) {
        return;
    }
    std::vector<double> sine(kGrid);
    for (std::size_t i = 0; i < kGrid; ++i) {
        const double t = window.time(grid_x(i));
        sine[i] = std::sin(s.q * (2 * t - s.trace_begin_s - s.trace_end_s) / span);
    }
    double k[4];
    project(sine, k, 3);
    rest[0] -= c[1] / k[1] * k[2];
    rest[1] -= c[1] / k[1] * k[3];
}

void spacing(const std::vector<double>& g, Evaluation& e) {
    double low = 1e300;
    double high = -1e300;
    std::size_t at = 0;
    constexpr std::size_t kStride = (kGrid - 1) / kSteps;
    for (std::size_t k = 0; k < kSteps; ++k) {
        const double step = g[(k + 1) * kStride] - g[k * kStride];
        low = std::min(low, step);
        if (step > high) {
            high = step;
            at = k;
        }
    }
    const double mean = (g.back() - g.front()) / kSteps;
    e.value[kSpacing] = 100 * (high - low) / (high + low);
    e.value[kSpacingMean] = 100 * (high - low) / mean;
    e.spacing_place = -1 + 2 * (static_cast<double>(at) + 0.5) / kSteps;
}

// g: the current over the window, made to rise, at equal times.
Evaluation evaluate(const std::vector<double>& g, const ShapeInput& input) {
    Evaluation e;
    double c[4];
    project(g, c, 3);
    const auto [low, high] = std::minmax_element(g.begin(), g.end());
    const double pp = *high - *low;
    double rest[2];
    take_off_s(input.intended, input.window, c, rest);
    e.value[kPp] = pp;
    e.value[kMean] = c[0];
    e.value[kBow] = 100 * rest[0] / pp;
    e.value[kS] = 100 * c[3] / pp;
    e.value[kSError] = 100 * rest[1] / pp;
    double lsq = 0;
    double end = 0;
    std::size_t back = 0;
    for (std::size_t i = 0; i < kGrid; ++i) {
        const double x = grid_x(i);
        const double from_lsq = std::abs(g[i] - c[0] - c[1] * x);
        const double from_end = std::abs(g[i] - (g.front() * (1 - x) + g.back() * (1 + x)) / 2);
        if (from_lsq > lsq) {
            lsq = from_lsq;
            e.lsq_place = x;
        }
        if (from_end > end) {
            end = from_end;
            e.end_place = x;
        }
        if (i > 0 && g[i] < g[i - 1]) {
            ++back;
            e.fold_place = x;
        }
    }
    e.value[kLsq] = 100 * lsq / pp;
    e.value[kEnd] = 100 * end / pp;
    e.value[kFold] = 100 * static_cast<double>(back) / (kGrid - 1);
    spacing(g, e);
    return e;
}

// Parameters: the fit's coefficients, then the shifts of the window's ends in units of x.
std::vector<double> on_grid(const RampFit& fit, const std::vector<double>& p, double direction) {
    const std::size_t size = fit.basis.size();
    std::vector<double> row(size);
    std::vector<double> g(kGrid);
    for (std::size_t i = 0; i < kGrid; ++i) {
        const double x = grid_x(i);
        fit.basis.evaluate(x + p[size] * (1 - x) / 2 + p[size + 1] * (1 + x) / 2, row.data());
        for (std::size_t j = 0; j < size; ++j) {
            g[i] += row[j] * p[j] * direction;
        }
    }
    return g;
}

} // namespace

RampShape measure_ramp(const Fold& fold, const ShapeInput& input, const RampFitOptions& options) {
    RampShape shape;
    shape.fit = fit_ramp(fold, input.window, options);
    const RampFit& fit = shape.fit;
    if (!fit.ok) {
        shape.problem = fit.problem;
        return shape;
    }
    const std::size_t size = fit.basis.size();
    const double to_x = 2 / (input.window.end_s - input.window.begin_s);
    const double edge_u[2] = {input.begin_u_s * to_x, input.end_u_s * to_x};
    std::vector<double> p = fit.c;
    p.resize(size + 2, 0.0);
    Matrix v(size + 2, size + 2);
    for (std::size_t i = 0; i < size; ++i) {
        for (std::size_t j = 0; j < size; ++j) {
            v(i, j) = fit.white(i, j);
        }
    }
    v(size, size) = edge_u[0] * edge_u[0];
    v(size + 1, size + 1) = edge_u[1] * edge_u[1];
    const auto f = [&](const std::vector<double>& q) {
        return evaluate(on_grid(fit, q, input.direction), input).value;
    };
    const Propagated spread = propagate(f, p, v);
    const Evaluation at = evaluate(on_grid(fit, p, input.direction), input);
    const auto result = [&](Output k, double place = 0) {
        const std::vector<double>& g = spread.gradient[k];
        const std::vector<double> inner(g.begin(), g.begin() + static_cast<std::ptrdiff_t>(size));
        const double white = quadratic_form(inner, fit.white, inner);
        const double scatter = fit.variance(inner);
        const double edges =
            std::pow(g[size] * edge_u[0], 2) + std::pow(g[size + 1] * edge_u[1], 2);
        ShapeValue value{at.value[k], std::sqrt(scatter + edges), 0, place};
        // A largest deviation reads high on noise; take off what noise adds, but never more than is
        // doubted.
        const double widened = white > 0 ? scatter / white : 1;
        value.value -= std::clamp(spread.bias[k] * widened, -value.u, value.u);
        return value;
    };
    shape.pp = result(kPp);
    shape.pp.u_scale = shape.pp.value * input.scale.gain_u_relative;
    shape.pp.u = std::hypot(shape.pp.u, shape.pp.u_scale);
    shape.centring = result(kMean);
    shape.centring.value *= input.direction;
    shape.centring.u_scale =
        std::hypot(input.scale.zero_u, shape.centring.value * input.scale.gain_u_relative);
    shape.centring.u = std::hypot(shape.centring.u, shape.centring.u_scale);
    shape.bow_pct = result(kBow, at.value[kBow] >= 0 ? 1 : -1);
    shape.s_pct = result(kS);
    shape.s_error_pct = result(kSError);
    shape.linearity_lsq_pct = result(kLsq, at.lsq_place);
    shape.linearity_end_pct = result(kEnd, at.end_place);
    shape.spacing_pct = result(kSpacing, at.spacing_place);
    shape.spacing_mean_pct = result(kSpacingMean, at.spacing_place);
    shape.foldover_pct = result(kFold, at.fold_place);
    shape.foldover_pct.u = std::hypot(shape.foldover_pct.u, 100.0 / (kGrid - 1) / std::sqrt(12.0));
    shape.ok = true;
    return shape;
}

} // namespace yokedock::analysis
