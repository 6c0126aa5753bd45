// SPDX-License-Identifier: MIT
#include "host/analysis/retrace.hpp"
#include "host/analysis/polynomial.hpp"
#include "host/analysis/propagate.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr double kMargin = 0.04; // of the swing: at first, cells nearer to an extreme are left out
constexpr double kInsidePart =
    0.04;                           // of the retrace: once its ends are known, cells nearer to them
constexpr double kTracePart = 0.10; // of the period: trace beside the retrace that is fitted
constexpr double kCornerPart = 0.06; // of the retrace: kept clear on the trace side of a corner
constexpr double kSettleDelays = 5;  // input lags until its transient is gone
constexpr std::size_t kMaxDegree = 7;
constexpr std::size_t kTraceDegree = 2;

struct Points {
    std::vector<double> t, y, weight;
    void add(double time, double value, double variance) {
        t.push_back(time);
        y.push_back(value);
        weight.push_back(1 / variance);
    }
};

// The cells round the retrace with the trace made to rise, in time order.
struct Around {
    std::vector<Cell> cells;
    double cell_u2(const Cell& c) const { return noise2 / static_cast<double>(c.count) + steps2; }
    double noise2 = 0; // of one sample
    double steps2 = 0; // what quantisation leaves in the mean of a cell
};

Around around_retrace(const Fold& fold, const Segments& seg) {
    Around a;
    const double from = seg.cross_s - fold.period_s / 2;
    for (Cell c : fold.cells) {
        c.phase_s = unroll(c.phase_s, from, fold.period_s);
        c.value *= seg.direction;
        a.cells.push_back(c);
    }
    std::sort(a.cells.begin(), a.cells.end(),
              [](const Cell& l, const Cell& r) { return l.phase_s < r.phase_s; });
    const double floor = std::max(fold.resolution / std::sqrt(12.0), 1e-9 * (seg.high - seg.low));
    a.noise2 = std::pow(std::max(fold.noise_sd, floor), 2);
    const double step_u =
        quantised_mean_u(fold.resolution, noise_before_quantiser(fold.resolution, fold.noise_sd));
    a.steps2 = step_u * step_u;
    return a;
}

struct Levels {
    double top, bottom;
    double begin_s, end_s;
};

// Cells from the middle of the retrace outwards, until the first that comes near an extreme.
Points inside_retrace(const Around& a, double cross_s, const Levels& l) {
    const double margin = kMargin * (l.top - l.bottom);
    const auto middle = std::lower_bound(a.cells.begin(), a.cells.end(), cross_s,
                                         [](const Cell& c, double t) { return c.phase_s < t; });
    auto from = middle;
    while (from != a.cells.begin() && std::prev(from)->value < l.top - margin) {
        --from;
    }
    auto to = middle;
    while (to != a.cells.end() && to->value > l.bottom + margin) {
        ++to;
    }
    Points p;
    for (auto it = from; it < to; ++it) {
        p.add(it->phase_s, it->value, a.cell_u2(*it));
    }
    return p;
}

Points beside_retrace(const Around& a, double from_s, double to_s) {
    Points p;
    for (const Cell& c : a.cells) {
        if (c.phase_s >= from_s && c.phase_s <= to_s) {
            p.add(c.phase_s, c.value, a.cell_u2(c));
        }
    }
    return p;
}

// Orders a retrace with so many places can bear: too low misses its bend, too high turns at noise
// before the end.
struct Orders {
    std::size_t least, most;
};
Orders orders_for(std::size_t places) {
    return {places >= 16 ? 3u : (places >= 6 ? 2u : 1u),
            places >= 30 ? kMaxDegree : (places >= 10 ? 5u : 3u)};
}

PolynomialFit best_polynomial(const Points& p, std::size_t least, std::size_t max_degree) {
    PolynomialFit best;
    double best_score = 0;
    for (std::size_t d = least; d <= max_degree && d + 2 <= p.t.size(); ++d) {
        PolynomialFit fit = fit_polynomial(p.t, p.y, d, p.weight);
        // Weights are 1 / variance: rss is a chi-square.
        const double score = fit.fit.rss + 2 * static_cast<double>(d);
        if (fit.fit.ok && (!best.fit.ok || score < best_score)) {
            best_score = score;
            best = std::move(fit);
        }
    }
    return best;
}

struct Curves {
    PolynomialFit before, retrace, after;
    double delay_s = 0;

    [[nodiscard]] double retraced(double t) const {
        return retrace.value(t - delay_s) + delay_s * retrace.slope(t - delay_s);
    }
    [[nodiscard]] bool falls(double t) const {
        const double h = 1e-4 * (retrace.end - retrace.begin);
        return retraced(t + h) < retraced(t - h);
    }
};

// Walks from the middle until `inside` fails, and closes in on the place.
template <class Inside> double walk_out(double from, double step, const Inside& inside) {
    double t = from;
    int steps = 0;
    while (inside(t + step) && ++steps < 600) {
        t += step;
    }
    double good = t;
    double bad = t + step;
    for (int i = 0; i < 40; ++i) {
        const double middle = (good + bad) / 2;
        (inside(middle) ? good : bad) = middle;
    }
    return good;
}

double level_crossing(const Curves& c, double begin, double end, double level) {
    double above = begin;
    double below = end;
    for (int i = 0; i < 50; ++i) {
        const double middle = (above + below) / 2;
        (c.retraced(middle) > level ? above : below) = middle;
    }
    return (above + below) / 2;
}

enum Output { kWidth, kFull, kSwing, kBegin, kEnd, kTop, kBottom, kOutputs };

// The extremes are where trace and retrace meet, or where the retrace itself turns, whichever comes
// first.
std::vector<double> outputs(const Curves& c, double cross_s) {
    const double step = (c.retrace.end - c.retrace.begin) / 200;
    const double begin = walk_out(
        cross_s, -step, [&](double t) { return c.falls(t) && c.retraced(t) < c.before.value(t); });
    const double end = walk_out(
        cross_s, step, [&](double t) { return c.falls(t) && c.retraced(t) > c.after.value(t); });
    const double top = c.retraced(begin);
    const double bottom = c.retraced(end);
    const double t90 = level_crossing(c, begin, end, top - 0.1 * (top - bottom));
    const double t10 = level_crossing(c, begin, end, bottom + 0.1 * (top - bottom));
    return {t10 - t90, end - begin, top - bottom, begin, end, top, bottom};
}

std::vector<double> parameters(const Curves& c) {
    std::vector<double> p;
    for (const PolynomialFit* f : {&c.before, &c.retrace, &c.after}) {
        p.insert(p.end(), f->fit.coefficients.begin(), f->fit.coefficients.end());
    }
    return p;
}

Curves with_parameters(Curves c, const std::vector<double>& p) {
    auto at = p.begin();
    for (PolynomialFit* f : {&c.before, &c.retrace, &c.after}) {
        const auto size = static_cast<std::ptrdiff_t>(f->fit.coefficients.size());
        std::copy(at, at + size, f->fit.coefficients.begin());
        at += size;
    }
    return c;
}

// Weights are 1 / variance; scatter beyond that shows in chi-square and widens the covariance.
Matrix covariance(const Curves& c) {
    std::size_t size = 0;
    for (const PolynomialFit* f : {&c.before, &c.retrace, &c.after}) {
        size += f->fit.coefficients.size();
    }
    Matrix v(size, size);
    std::size_t at = 0;
    for (const PolynomialFit* f : {&c.before, &c.retrace, &c.after}) {
        const double scale = std::max(1.0, std::pow(f->fit.residual_sd(), 2));
        const std::size_t n = f->fit.coefficients.size();
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = 0; j < n; ++j) {
                v(at + i, at + j) = scale * f->fit.inverse_normal(i, j);
            }
        }
        at += n;
    }
    return v;
}

// What another order of the retrace polynomial, or a lag at the edge of its tolerance, would have
// given.
std::vector<double> model_u(const Curves& c, const Points& inside, double cross_s,
                            const std::vector<double>& value) {
    std::vector<double> u2(value.size(), 0.0);
    const std::size_t degree = c.retrace.fit.coefficients.size() - 1;
    const Orders orders = orders_for(inside.t.size());
    const bool higher = degree + 3 <= inside.t.size() && degree < orders.most;
    Curves other = c;
    if (higher || degree > orders.least) {
        other.retrace =
            fit_polynomial(inside.t, inside.y, higher ? degree + 1 : degree - 1, inside.weight);
    }
    Curves lagged = c;
    lagged.delay_s *= 1 + kDelayRelativeU;
    for (const Curves& variant : {other, lagged}) {
        const std::vector<double> v = outputs(variant, cross_s);
        for (std::size_t i = 0; i < v.size(); ++i) {
            u2[i] += std::pow(v[i] - value[i], 2);
        }
    }
    return u2;
}

bool fit_curves(const Fold& fold, const Around& a, const Levels& l, double cross_s, bool ends_known,
                Curves& c, Points& inside) {
    const double keep = kInsidePart * (l.end_s - l.begin_s);
    // The input lag delays the retrace as it is seen in the samples' time by about itself less the
    // shift.
    inside = ends_known
                 ? beside_retrace(a, l.begin_s + keep - fold.delay_s, l.end_s - keep - fold.delay_s)
                 : inside_retrace(a, cross_s, l);
    const double clear = kCornerPart * (l.end_s - l.begin_s);
    const double part = kTracePart * fold.period_s;
    c.delay_s = fold.delay_s;
    const Orders orders = orders_for(inside.t.size());
    c.retrace = best_polynomial(inside, orders.least, orders.most);
    c.before = best_polynomial(
        beside_retrace(a, l.begin_s - clear - part, l.begin_s - clear - fold.delay_s), 1,
        kTraceDegree);
    const double settled = l.end_s + clear + kSettleDelays * fold.delay_s;
    c.after = best_polynomial(beside_retrace(a, settled, settled + part), 1, kTraceDegree);
    return c.before.fit.ok && c.retrace.fit.ok && c.after.fit.ok;
}

} // namespace

double plain_swing(const Fold& fold) {
    constexpr std::size_t kCells = 5;
    double low = 1e300;
    double high = -1e300;
    for (std::size_t i = 0; i + kCells <= fold.cells.size(); ++i) {
        double mean = 0;
        for (std::size_t k = i; k < i + kCells; ++k) {
            mean += fold.cells[k].value / kCells;
        }
        low = std::min(low, mean);
        high = std::max(high, mean);
    }
    return high > low ? high - low : 0;
}

double unsampled_retrace_s(const Fold& fold, const Segments& segments) {
    constexpr double kUsualSteps =
        4; // cells of equivalent-time samples are a few steps apart by chance
    constexpr double kRetracePart = 0.1; // the 10 to 90 % levels lie this far inside
    const double length = segments.retrace_end_s - segments.retrace_begin_s;
    const double from = segments.retrace_begin_s - length / 2;
    const double to = segments.retrace_end_s + length / 2;
    std::vector<double> places{from, to};
    for (const Cell& cell : fold.cells) {
        const double t = unroll(cell.phase_s, from, fold.period_s);
        if (t < to) {
            places.push_back(t);
        }
    }
    std::sort(places.begin(), places.end());
    double longest = 0;
    for (std::size_t i = 1; i < places.size(); ++i) {
        longest = std::max(longest, places[i] - places[i - 1]);
    }
    const double usual =
        fold.period_s / static_cast<double>(std::max<std::size_t>(1, fold.cells.size()));
    return longest > kUsualSteps * usual && longest > kRetracePart * length ? longest : 0;
}

Retrace measure_retrace(const Fold& fold, const Segments& segments) {
    Retrace r;
    const Around a = around_retrace(fold, segments);
    Levels l{segments.direction > 0 ? segments.high : -segments.low,
             segments.direction > 0 ? segments.low : -segments.high, segments.retrace_begin_s,
             segments.retrace_end_s};
    Curves curves;
    Points inside;
    std::vector<double> value;
    for (int round = 0; round < 3; ++round) { // levels and clear zones settle in two rounds
        if (!fit_curves(fold, a, l, segments.cross_s, round > 0, curves, inside)) {
            r.problem = fmt::format("retrace was sampled at only {} places, 3 are needed: step the "
                                    "sampling place, or sample more often",
                                    inside.t.size());
            return r;
        }
        value = outputs(curves, segments.cross_s);
        l = {value[kTop], value[kBottom], value[kBegin], value[kEnd]};
        if (!(value[kSwing] > 0) || !(value[kFull] < fold.period_s / 2)) {
            r.problem = "retrace does not meet the trace";
            return r;
        }
    }
    const auto f = [&](const std::vector<double>& p) {
        return outputs(with_parameters(curves, p), segments.cross_s);
    };
    const Matrix v = covariance(curves);
    const Propagated spread = propagate(f, parameters(curves), v);
    const std::vector<double> model = model_u(curves, inside, segments.cross_s, value);
    const auto estimate = [&](Output k) {
        const double var = quadratic_form(spread.gradient[k], v, spread.gradient[k]);
        // Noise brings the place where a flat extreme stops falling nearer: take that off, half of
        // it in doubt.
        const double shift = std::clamp(spread.bias[k], -std::sqrt(var), std::sqrt(var));
        return Estimate{value[k] - shift, std::sqrt(var + model[k] + shift * shift / 4)};
    };
    r.width_10_90_s = estimate(kWidth);
    r.full_s = estimate(kFull);
    r.swing = estimate(kSwing);
    r.begin_s = estimate(kBegin);
    r.end_s = estimate(kEnd);
    r.count = inside.t.size();
    r.fit_from_s = l.begin_s - kTracePart * fold.period_s;
    r.fit_to_s = l.end_s + kTracePart * fold.period_s;
    r.parameters = parameters(curves).size();
    r.seen = [curves, l](double t) {
        const PolynomialFit& part = t < l.begin_s - curves.delay_s ? curves.before
                                    : t > l.end_s - curves.delay_s ? curves.after
                                                                   : curves.retrace;
        return part.value(t);
    };
    r.ok = true;
    return r;
}

} // namespace yokedock::analysis
