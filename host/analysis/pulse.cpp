// SPDX-License-Identifier: MIT
#include "host/analysis/pulse.hpp"
#include "host/analysis/polynomial.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>
#include <limits>

namespace yokedock::analysis {
namespace {

constexpr std::size_t kMinCells = 24;
// Of the height, between neighbouring places: more is an edge. A half sine seen at a dozen places
// takes 17 % at the farthest places used for its top: sin(0.233 pi) pi / 12.
constexpr double kEdgeStep = 0.25;
constexpr double kTopPart = 0.15; // of the half-height width: the parabola's reach to either side
constexpr double kMostTopPart = 0.35; // where places are few
constexpr std::size_t kTopPlaces = 5;
constexpr double kMisfit = 3; // residuals of so many times a place's doubt are shape, not noise
constexpr double kNearer = 0.8;

double cell_u(const Fold& fold, const Cell& c) {
    const double floor = fold.resolution / std::sqrt(12.0);
    const double noise = std::max(fold.noise_sd, floor);
    const double steps =
        quantised_mean_u(fold.resolution, noise_before_quantiser(fold.resolution, fold.noise_sd));
    return std::hypot(noise / std::sqrt(static_cast<double>(c.count)), steps);
}

// Middle value of a place and its neighbours: a single wild place is not the peak.
double smoothed(const std::vector<Cell>& cells, std::size_t i) {
    const std::size_t n = cells.size();
    const auto [low, high] = std::minmax({cells[(i + n - 1) % n].value, cells[i].value});
    return std::clamp(cells[(i + 1) % n].value, low, high);
}

struct Crossing {
    bool ok = false;
    double time_s = 0;
    double u_s = 0;
};

// From cell `from` in steps of `way` (+1, -1) to the first passage below the level.
Crossing passage(const Fold& fold, std::size_t from, int way, double level, double height) {
    const std::vector<Cell>& cells = fold.cells;
    const std::size_t n = cells.size();
    double turn = 0;
    std::size_t i = from;
    for (std::size_t steps = 0; steps + 1 < n; ++steps) {
        const std::size_t next = way > 0 ? (i + 1) % n : (i + n - 1) % n;
        double next_turn = turn;
        if (way > 0 && next == 0) {
            next_turn += fold.period_s;
        } else if (way < 0 && i == 0) {
            next_turn -= fold.period_s;
        }
        const double y0 = cells[i].value;
        const double y1 = cells[next].value;
        if (y1 < level) {
            const double t0 = cells[i].phase_s + turn;
            const double t1 = cells[next].phase_s + next_turn;
            const double part = y0 > y1 ? std::clamp((y0 - level) / (y0 - y1), 0.0, 1.0) : 0.5;
            const double gap = std::abs(t1 - t0);
            const double slope = std::max(std::abs(y1 - y0) / gap, 1e-300);
            const double noise = std::min(cell_u(fold, cells[i]) / slope, gap);
            // Between two places nothing is known but that it passed: a jump may be anywhere there,
            // a slope that takes many places is nearly straight.
            const double share = std::min(1.0, std::abs(y1 - y0) / height);
            return {true, t0 + part * (t1 - t0),
                    std::hypot(noise, share * gap / std::sqrt(12.0), fold.place_u_s)};
        }
        turn = next_turn;
        i = next;
    }
    return {};
}

Estimate width(const Fold& fold, std::size_t top, double level, double height) {
    const Crossing left = passage(fold, top, -1, level, height);
    const Crossing right = passage(fold, top, 1, level, height);
    if (!left.ok || !right.ok) {
        const double nan = std::numeric_limits<double>::quiet_NaN();
        return {nan, nan};
    }
    return {right.time_s - left.time_s, std::hypot(left.u_s, right.u_s)};
}

struct Top {
    std::vector<double> t, y;
    double reach_s;
};

// From the highest place outwards, as far as `reach`, until a step between neighbours shows an
// edge, which does not belong to the top and would bend the parabola.
Top places_on_top(const Fold& fold, std::size_t top, double reach_s, double base) {
    Top out{{0.0}, {fold.cells[top].value}, reach_s};
    const std::size_t n = fold.cells.size();
    const double edge = kEdgeStep * (fold.cells[top].value - base);
    const double from = fold.cells[top].phase_s - fold.period_s / 2;
    for (const std::size_t way : {std::size_t{1}, n - 1}) {
        double before = fold.cells[top].value;
        for (std::size_t k = 1, i = top; k < n; ++k) {
            i = (i + way) % n;
            const Cell& c = fold.cells[i];
            const double x = unroll(c.phase_s, from, fold.period_s) - fold.cells[top].phase_s;
            if (std::abs(x) > reach_s || std::abs(c.value - before) > edge) {
                break;
            }
            out.t.push_back(x);
            out.y.push_back(c.value);
            before = c.value;
        }
    }
    return out;
}

// A retrace pulse is a half sine, whose next term at the reach is depth^2 / (6 height), depth being
// what the parabola falls by there (1.5 P2).
double half_sine_next_term(const PolynomialFit& fit, double height) {
    const double depth = 1.5 * fit.fit.coefficients[2];
    return depth * depth / (6 * std::max(std::abs(height), 1e-300));
}

// Vertex of a parabola through the places round the highest: the nearest ones, and farther ones
// where a coarse sampling leaves too few. The highest itself when that fails.
Estimate vertex(const Fold& fold, std::size_t top, double width_s, double base) {
    Top places = places_on_top(fold, top, kTopPart * width_s, base);
    while (places.t.size() < kTopPlaces && places.reach_s < kMostTopPart * width_s) {
        places = places_on_top(fold, top, places.reach_s + 0.05 * width_s, base);
    }
    const Estimate highest{fold.cells[top].value, cell_u(fold, fold.cells[top])};
    const std::size_t n = fold.cells.size();
    const std::pair<double, double> beside =
        std::minmax({fold.cells[(top + n - 1) % n].value, fold.cells[(top + 1) % n].value});
    if (places.t.size() < kTopPlaces) {
        // Too few places on the top to see its shape: the lower of the two neighbours tells how
        // much may be hidden.
        return {highest.value, std::hypot(highest.u, (highest.value - beside.first) / 2)};
    }
    PolynomialFit fit = fit_polynomial(places.t, places.y, 2);
    // A top that is no parabola within the reach: where output transistors hand over in mid-retrace
    // the pulse has a step of a few per cent of its height. Nearer places know nothing of it.
    const auto misfit = [&] {
        return fit.fit.ok && fit.fit.residual_sd() >
                                 kMisfit * highest.u + half_sine_next_term(fit, highest.value);
    };
    while (misfit()) {
        Top nearer = places_on_top(fold, top, kNearer * places.reach_s, base);
        if (nearer.t.size() < kTopPlaces) {
            // The higher neighbour is on this side of the step.
            return {highest.value, std::hypot(highest.u, (highest.value - beside.second) / 2)};
        }
        places = std::move(nearer);
        fit = fit_polynomial(places.t, places.y, 2);
    }
    if (!fit.fit.ok || !(fit.fit.coefficients[2] < 0)) {
        return highest;
    }
    const double x =
        std::clamp(-fit.fit.coefficients[1] / (3 * fit.fit.coefficients[2]), -1.0, 1.0);
    double row[3];
    legendre(x, 2, row);
    const std::vector<double> g(row, row + 3);
    const double floor = cell_u(fold, fold.cells[top]);
    const double sd = std::max(fit.fit.residual_sd(), floor);
    const double value = legendre_sum(fit.fit.coefficients.data(), 3, x).value;
    // A fitted parabola misses 3/35 of the next term in the middle.
    const double bend = 3.0 / 35 * half_sine_next_term(fit, value);
    return {value, std::hypot(sd * std::sqrt(quadratic_form(g, fit.fit.inverse_normal, g)), bend)};
}

} // namespace

Pulse measure_pulse(const Fold& fold) {
    Pulse pulse;
    const std::vector<Cell>& cells = fold.cells;
    if (cells.size() < kMinCells) {
        pulse.problem = "too few places of the period were sampled";
        return pulse;
    }
    std::vector<double> values;
    std::size_t top = 0;
    std::size_t low = 0;
    for (std::size_t i = 0; i < cells.size(); ++i) {
        values.push_back(cells[i].value);
        top = smoothed(cells, i) > smoothed(cells, top) ? i : top;
        low = smoothed(cells, i) < smoothed(cells, low) ? i : low;
    }
    auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    pulse.base = {*middle, cell_u(fold, cells[top])};
    pulse.lowest = {smoothed(cells, low), 1.5 * cell_u(fold, cells[low])};
    const double height = cells[top].value - pulse.base.value;
    if (!(height > 8 * cell_u(fold, cells[top]))) {
        pulse.problem = "no pulse stands out";
        return pulse;
    }
    const Estimate rough = width(fold, top, pulse.base.value + 0.5 * height, height);
    pulse.peak = vertex(fold, top, std::isnan(rough.value) ? 0 : rough.value, pulse.base.value);
    const double exact = pulse.peak.value - pulse.base.value;
    pulse.width_50_s = width(fold, top, pulse.base.value + 0.5 * exact, exact);
    pulse.width_10_s = width(fold, top, pulse.base.value + 0.1 * exact, exact);
    pulse.count = cells.size();
    pulse.ok = true;
    return pulse;
}

} // namespace yokedock::analysis
