// SPDX-License-Identifier: MIT
#include "host/analysis/crossover.hpp"
#include "host/analysis/figures.hpp"
#include "host/analysis/hum.hpp"
#include "host/analysis/ramp.hpp"
#include "host/analysis/settling_retrace.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <limits>

namespace yokedock::analysis {
namespace {

constexpr double kMicro = 1e6;
constexpr double kUnknownEndShare =
    0.1; // of the coarse retrace: doubt of its ends when it could not be fitted

/// The ramp figures in table order: X(name without prefix, text, unit).
#define YOKEDOCK_RAMP_FIGURES(X)                                                                   \
    X(yoke_pp_a, "load current in the window, p-p", "A")                                           \
    X(yoke_swing_a, "load current between the extremes", "A")                                      \
    X(yoke_centring_a, "centring: mean current over the window", "A")                              \
    X(yoke_bow_pct, "bow (P2 / p-p; > 0: late end stretched)", "%")                                \
    X(yoke_s_pct, "S (P3 / p-p; < 0: ends compressed)", "%")                                       \
    X(yoke_s_error_pct, "S left after the intended S", "%")                                        \
    X(yoke_linearity_lsq_pct, "linearity, largest distance from least-squares line", "%")          \
    X(yoke_linearity_end_pct, "linearity, largest distance from end-point line", "%")              \
    X(yoke_spacing_pct, "spacing of 10 steps, (max-min)/(max+min)", "%")                           \
    X(yoke_spacing_mean_pct, "spacing of 10 steps, (max-min)/mean", "%")                           \
    X(yoke_foldover_pct, "fold-over: part of the window running backwards", "%")                   \
    X(yoke_crossover_pct, "slope at zero current against its surroundings", "%")                   \
    X(yoke_hum_position_pct, "mains in position, p-p", "%")                                        \
    X(yoke_hum_size_pct, "mains in size, p-p", "%")                                                \
    X(retrace_us, "retrace, 10 to 90 %", "us")                                                     \
    X(retrace_full_us, "retrace, between extremes", "us")

enum RampFigure {
#define X(name, text, unit) name,
    YOKEDOCK_RAMP_FIGURES(X)
#undef X
        kRampFigures
};

struct Row {
    const char* name;
    const char* text;
    const char* unit;
};
constexpr Row kRows[kRampFigures] = {
#define X(name, text, unit) {#name, text, unit},
    YOKEDOCK_RAMP_FIGURES(X)
#undef X
};

/// What was found out about one ramp; each part with its own reason when missing.
struct RampFindings {
    std::string problem; ///< nothing at all
    Fold fold;           ///< hum taken off
    Segments segments;
    Retrace retrace;
    RampShape shape;
    Hum hum;
    Crossover crossover;
    ShapeInput input;
    bool own_window = false; ///< part of trace, for want of a window or of sync
};

void choose_window(const Axis& axis, const AxisTiming& timing, RampFindings& f) {
    const double period = f.fold.period_s;
    double begin = f.segments.retrace_end_s;
    double end = f.segments.retrace_begin_s + period;
    const double coarse =
        kUnknownEndShare * (f.segments.retrace_end_s - f.segments.retrace_begin_s);
    double begin_u = coarse;
    double end_u = coarse;
    if (f.retrace.ok) {
        begin = f.retrace.end_s.value;
        end = f.retrace.begin_s.value + period;
        begin_u = f.retrace.end_s.u;
        end_u = f.retrace.begin_s.u;
    }
    const double turn =
        -period * std::floor(begin / period); // trace begins within the first period
    begin += turn;
    end += turn;
    f.input.intended = {axis.s_q, begin, end};
    const double lag_u = kDelayRelativeU * f.fold.delay_s;
    f.own_window = !axis.window->has_value() || !f.fold.sync;
    if (!f.own_window) {
        f.input.window = {(*axis.window)->begin_s, (*axis.window)->end_s};
        f.input.begin_u_s = f.input.end_u_s = std::hypot(lag_u, timing.sync->place_u_s());
        return;
    }
    const double span = end - begin;
    const TracePart& part = axis.part;
    f.input.window = {begin + part.begin * span, begin + part.end * span};
    f.input.begin_u_s = std::hypot((1 - part.begin) * begin_u, part.begin * end_u);
    f.input.end_u_s = std::hypot((1 - part.end) * begin_u, part.end * end_u);
}

// Shape from the fold as it is now.
bool measure_shape(const Axis& axis, const AxisTiming& timing, RampFindings& f) {
    f.segments = find_segments(f.fold);
    if (!f.segments.problem.empty()) {
        f.problem = f.segments.problem;
        return false;
    }
    f.retrace = axis.vertical ? measure_settling_retrace(f.fold, f.segments)
                              : measure_retrace(f.fold, f.segments);
    f.input.direction = f.segments.direction;
    choose_window(axis, timing, f);
    if (!(f.input.window.end_s > f.input.window.begin_s) ||
        f.input.window.end_s - f.input.window.begin_s > f.fold.period_s) {
        f.problem = "the window of the profile does not fit into one period";
        return false;
    }
    f.shape = measure_ramp(f.fold, f.input);
    if (!f.shape.ok) {
        f.problem = f.shape.problem;
    }
    return f.shape.ok;
}

Hum find_hum(const Fold& fold, const RampFit& fit, double mains_hz) {
    if (mains_hz > 0) {
        return measure_hum(fold, fit, mains_hz);
    }
    const Hum a = measure_hum(fold, fit, 50);
    const Hum b = measure_hum(fold, fit, 60);
    if (!a.ok || !b.ok) { // without knowing which mains it is, the one that can be told says
                          // nothing of the other
        return a.ok ? b : a;
    }
    const auto power = [](const Hum& h) { return std::hypot(h.position_pct, h.size_pct); };
    return power(a) > power(b) ? a : b;
}

RampFindings investigate(const Axis& axis, const AxisTiming& timing, const SupplyFacts& supply) {
    RampFindings f;
    if (axis.ramp == nullptr) {
        f.problem = fmt::format("{} was not sampled", axis.channel);
        return f;
    }
    AxisFold folded = fold_axis(axis, timing, *axis.ramp);
    if (!folded.problem.empty()) {
        f.problem = folded.problem;
        return f;
    }
    f.fold = folded.fold;
    f.input.scale = {axis.ramp->gain_u_relative, axis.ramp->zero_u};
    if (!measure_shape(axis, timing, f)) {
        return f;
    }
    f.hum = find_hum(f.fold, f.shape.fit, supply.mains_hz);
    for (int round = 0; round < 2 && f.hum.ok && f.hum.significant; ++round) {
        // Ramp and hum by turns: each is fitted to what the other leaves.
        f.fold = folded.fold;
        remove_hum(f.fold, f.shape.fit, f.hum);
        if (!measure_shape(axis, timing, f)) {
            return f;
        }
        f.hum = measure_hum(folded.fold, f.shape.fit, f.hum.mains_hz);
    }
    f.crossover = measure_crossover(f.fold, f.shape.fit);
    return f;
}

std::string window_method(const Axis& axis, const RampFindings& f) {
    const RampFit& fit = f.shape.fit;
    const std::string model = fit.basis.intervals == 0
                                  ? fmt::format("Legendre order {}", fit.basis.degree)
                                  : fmt::format("cubic spline of {} pieces", fit.basis.intervals);
    const std::string window =
        f.own_window
            ? fmt::format("{:g} to {:g} % of trace", 100 * axis.part.begin, 100 * axis.part.end)
            : fmt::format("{:.4g} to {:.4g} us after sync", f.input.window.begin_s * kMicro,
                          f.input.window.end_s * kMicro);
    return model + " over " + window;
}

class Table {
  public:
    Table(const Axis& axis, AnalysisResult& result) : axis_(axis), result_(result) {}

    Figure& add(RampFigure k, const ShapeValue& v, std::size_t count, std::string method,
                std::string where = {}) {
        Figure f = measured(axis_.name(kRows[k].name), axis_.text(kRows[k].text), kRows[k].unit,
                            v.value, v.u, count, std::move(method), std::move(where));
        f.u_scale = v.u_scale;
        result_.figures.push_back(std::move(f));
        return result_.figures.back();
    }
    void add_missing(RampFigure k, const std::string& reason) {
        result_.figures.push_back(not_measured(axis_.name(kRows[k].name), axis_.text(kRows[k].text),
                                               kRows[k].unit, reason));
    }
    [[nodiscard]] std::string place(double x) const { return where_on(axis_, x); }

  private:
    const Axis& axis_;
    AnalysisResult& result_;
};

void add_shape(Table& table, const Axis& axis, const RampFindings& f) {
    const RampShape& s = f.shape;
    const std::size_t n = s.fit.samples;
    const std::string method = window_method(axis, f);
    mark_out_of_range(table.add(yoke_pp_a, s.pp, n, method), axis.channel, *axis.ramp);
    if (f.retrace.ok) {
        ShapeValue swing{f.retrace.swing.value, f.retrace.swing.u,
                         f.retrace.swing.value * axis.ramp->gain_u_relative, 0};
        swing.u = std::hypot(swing.u, swing.u_scale);
        mark_out_of_range(table.add(yoke_swing_a, swing, f.retrace.count,
                                    "where fitted trace and fitted retrace meet"),
                          axis.channel, *axis.ramp);
    } else {
        table.add_missing(yoke_swing_a, f.retrace.problem);
    }
    table.add(yoke_centring_a, s.centring, n, method);
    table.add(yoke_bow_pct, s.bow_pct, n, method, table.place(s.bow_pct.place));
    table.add(yoke_s_pct, s.s_pct, n, method);
    if (axis.s_q > 0) {
        table.add(yoke_s_error_pct, s.s_error_pct, n, method);
    } else {
        table.add_missing(yoke_s_error_pct, "the profile states no intended S");
    }
    const auto placed = [&](RampFigure k, const ShapeValue& v) {
        table.add(k, v, n, method, table.place(v.place));
    };
    placed(yoke_linearity_lsq_pct, s.linearity_lsq_pct);
    placed(yoke_linearity_end_pct, s.linearity_end_pct);
    placed(yoke_spacing_pct, s.spacing_pct);
    placed(yoke_spacing_mean_pct, s.spacing_mean_pct);
    table.add(yoke_foldover_pct, s.foldover_pct, n, method,
              s.foldover_pct.value > 0 ? table.place(s.foldover_pct.place) : std::string());
}

void add_rest(Table& table, const RampFindings& f, double clock_u) {
    const auto estimate = [](const Estimate& e) { return ShapeValue{e.value, e.u, 0, 0}; };
    if (f.crossover.ok) {
        table.add(yoke_crossover_pct, estimate(f.crossover.slope_pct), f.crossover.count,
                  "slope within 2 % of the window on either side of zero current");
    } else {
        table.add_missing(yoke_crossover_pct, f.crossover.problem);
    }
    if (f.hum.ok) {
        const std::string method =
            fmt::format("sines of {0:g} and {1:g} Hz fitted to the ramp's residuals",
                        f.hum.mains_hz, 2 * f.hum.mains_hz);
        table.add(yoke_hum_position_pct, {f.hum.position_pct, f.hum.position_u_pct, 0, 0},
                  f.hum.count, method);
        table.add(yoke_hum_size_pct, {f.hum.size_pct, f.hum.size_u_pct, 0, 0}, f.hum.count, method);
    } else {
        table.add_missing(yoke_hum_position_pct, f.hum.problem);
        table.add_missing(yoke_hum_size_pct, f.hum.problem);
    }
    if (!f.retrace.ok) {
        table.add_missing(retrace_us, f.retrace.problem);
        table.add_missing(retrace_full_us, f.retrace.problem);
        return;
    }
    const auto micro = [](const Estimate& e) {
        return ShapeValue{e.value * kMicro, e.u * kMicro, 0, 0};
    };
    const char* method = "fitted retrace, input lag taken off";
    Figure& part = table.add(retrace_us, micro(f.retrace.width_10_90_s), f.retrace.count, method);
    part.u_clock = part.value * clock_u;
    Figure& full = table.add(retrace_full_us, micro(f.retrace.full_s), f.retrace.count, method);
    full.u_clock = full.value * clock_u;
}

RampPlot plot_of(const Axis& axis, const RampFindings& f) {
    RampPlot plot{axis.channel, "A", f.fold.sync, f.input.window.begin_s, f.input.window.end_s, {},
                  {},           {},  {}};
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const Window& window = f.input.window;
    // One period with the window in its middle, so that no picture is torn apart.
    const double from = window.begin_s - (f.fold.period_s - (window.end_s - window.begin_s)) / 2;
    std::vector<std::pair<double, double>> points;
    for (const Cell& c : f.fold.cells) {
        points.emplace_back(unroll(c.phase_s, from, f.fold.period_s), c.value);
    }
    std::sort(points.begin(), points.end());
    for (const auto& [t, value] : points) {
        const bool inside = t >= window.begin_s && t <= window.end_s;
        const double fit = inside ? f.shape.fit.value(window.unit(t)) : nan;
        plot.phase_s.push_back(t);
        plot.value.push_back(value);
        plot.fit.push_back(fit);
        plot.residual.push_back(value - fit);
    }
    return plot;
}

// Gradient of the fit's value at one place, and its slope per unit of x for the window's ends.
RampCurve curve_of(const Axis& axis, const RampFindings& f) {
    const RampFit& fit = f.shape.fit;
    const Window& window = f.input.window;
    RampCurve curve{axis.channel, "A", !f.own_window,
                    window.begin_s, window.end_s, {}, {},
                    f.input.scale.gain_u_relative, f.input.scale.zero_u};
    const double to_x = 2 / (window.end_s - window.begin_s);
    constexpr double kStep = 1e-3; // of x: for the slope
    std::vector<double> gradient(fit.basis.size());
    for (std::size_t i = 0; i < kCurvePlaces; ++i) {
        const double x = -1 + 2 * static_cast<double>(i) / (kCurvePlaces - 1);
        fit.basis.evaluate(x, gradient.data());
        const double slope = (fit.value(x + kStep) - fit.value(x - kStep)) / (2 * kStep);
        const double begin_u = slope * (1 - x) / 2 * f.input.begin_u_s * to_x;
        const double end_u = slope * (1 + x) / 2 * f.input.end_u_s * to_x;
        curve.value.push_back(fit.value(x));
        curve.u.push_back(std::sqrt(fit.variance(gradient) + begin_u * begin_u + end_u * end_u));
    }
    return curve;
}

} // namespace

void add_ramp_figures(const Axis& axis, const AxisTiming& timing,
                      const capture::Observation& observation, const SupplyFacts& supply,
                      AnalysisResult& result) {
    const RampFindings f = investigate(axis, timing, supply);
    Table table(axis, result);
    if (!f.problem.empty()) {
        for (int k = 0; k < kRampFigures; ++k) {
            table.add_missing(static_cast<RampFigure>(k), f.problem);
        }
        return;
    }
    add_shape(table, axis, f);
    add_rest(table, f, observation.clock_u_relative);
    result.ramps.push_back(plot_of(axis, f));
    result.curves.push_back(curve_of(axis, f));
    if (axis.window->has_value() && f.own_window) {
        result.warnings.push_back(
            fmt::format("The {} ramp is not locked to sync: its shape is judged over a part of its "
                        "own trace, not over the window "
                        "that is fixed to sync, and that hides fold-over.",
                        axis.word));
    }
    if (const double gap_s = unsampled_retrace_s(f.fold, f.segments); gap_s > 0) {
        result.warnings.push_back(fmt::format("Up to {:.3g} us of the {} retrace were not sampled: "
                                              "its retrace time, its current between "
                                              "the extremes and, by the window, its shape may be "
                                              "wrong by more than the stated uncertainty.",
                                              1e6 * gap_s, axis.word));
    }
    constexpr double kSwingDoubt = 0.03; // averaging five of 1024 cells rounds extremes by less
    const double plain = plain_swing(f.fold);
    if (f.retrace.ok && plain > f.retrace.swing.value * (1 + kSwingDoubt)) {
        result.warnings.push_back(
            fmt::format("The {} current goes on changing where its retrace was taken to end "
                        "({:.3g} A between the extremes of the samples, {:.3g} A of the fit): "
                        "retrace time, current between the extremes and, by the window, shape may "
                        "be wrong by more than the stated uncertainty.",
                        axis.word, plain, f.retrace.swing.value));
    }
    if (!f.hum.ok && supply.mains_hz > 0) {
        result.warnings.push_back(fmt::format(
            "Hum in the {} ramp cannot be told from its shape: {}.", axis.word, f.hum.problem));
    }
}

} // namespace yokedock::analysis
