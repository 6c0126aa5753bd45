// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/truth.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>
#include <numeric>
#include <optional>
#include <vector>

namespace yokedock::sim {

namespace {

constexpr double kClockHz = 16e6;
constexpr double kLineSampleS = 0.05e-6;
constexpr double kFieldSampleS = 4e-6;
constexpr int kDenseLines = 8;

struct Wave {
    std::vector<double> time_s;
    std::vector<double> value;
    void add(double t, double v) {
        time_s.push_back(t);
        value.push_back(v);
    }
};

struct Edges {
    std::vector<double> rise_s;
    std::vector<double> fall_s;
};

struct Recording {
    Edges line;
    Edges field;
    Wave horizontal;
    Wave vertical;
    Wave output;
    Wave rail;
    double rail_a = 0;
    double peak_v = 0;
    std::optional<double> line_start_s;
    std::optional<double> field_start_s;
};

/// Runs board and sync on to time_s; keeps edges, without the comparators' delay, when asked.
void drive(BoardModel& board, IdealSync* sync, double time_s, const BoardParameters& p,
           Recording* keep) {
    const auto run = [&](double limit_s) {
        while (const auto edge = board.run_until(limit_s)) {
            if (keep != nullptr) {
                Edges& edges = edge->line ? keep->line : keep->field;
                const double t =
                    edge->time_s - (edge->line ? p.bench_line_delay_s : p.bench_field_delay_s);
                (edge->rising ? edges.rise_s : edges.fall_s).push_back(t);
            }
        }
    };
    while (sync != nullptr && sync->peek().time_s <= time_s) {
        const SyncEdge edge = sync->take();
        run(edge.time_s);
        board.set_sync_tip(edge.time_s, edge.tip);
        if (keep != nullptr && edge.line_start && !keep->line_start_s) {
            keep->line_start_s = edge.time_s;
        }
        if (keep != nullptr && edge.field_start && !keep->field_start_s) {
            keep->field_start_s = edge.time_s;
        }
    }
    run(time_s);
}

double mean(const std::vector<double>& v) {
    return v.empty() ? NAN
                     : std::accumulate(v.begin(), v.end(), 0.0) / static_cast<double>(v.size());
}

RateTruth judge_rate(const Edges& edges, std::optional<double> sync_start_s, double sync_period_s,
                     double bound_s, double watch_s) {
    RateTruth r;
    const std::size_t n = edges.rise_s.size();
    if (n < 3) {
        return r;
    }
    r.running = true;
    // Straight line through the edges: slope is the period.
    const double k_mean = 0.5 * static_cast<double>(n - 1);
    const double t_mean = mean(edges.rise_s);
    double kt = 0;
    double kk = 0;
    for (std::size_t k = 0; k < n; ++k) {
        const double d = static_cast<double>(k) - k_mean;
        kt += d * (edges.rise_s[k] - t_mean);
        kk += d * d;
    }
    const double period = kt / kk;
    r.rate_hz = 1 / period;
    double squares = 0;
    for (std::size_t k = 0; k < n; ++k) {
        const double e = edges.rise_s[k] - t_mean - period * (static_cast<double>(k) - k_mean);
        squares += e * e;
    }
    r.jitter_s = std::sqrt(squares / static_cast<double>(n));
    std::vector<double> widths;
    std::size_t f = 0;
    for (double rise : edges.rise_s) {
        while (f < edges.fall_s.size() && edges.fall_s[f] <= rise) {
            ++f;
        }
        if (f < edges.fall_s.size()) {
            widths.push_back(edges.fall_s[f] - rise);
        }
    }
    r.pulse_width_s = mean(widths);
    if (!sync_start_s) {
        return r;
    }
    std::vector<double> phase;
    for (std::size_t k = 0; k < n; ++k) {
        phase.push_back(edges.rise_s[k] - *sync_start_s - static_cast<double>(k) * sync_period_s);
    }
    const double centre = mean(phase);
    const bool bounded = std::all_of(phase.begin(), phase.end(),
                                     [&](double x) { return std::fabs(x - centre) < bound_s; });
    const bool all = std::fabs(static_cast<double>(n) - watch_s / sync_period_s) < 1.5;
    r.locked = bounded && all;
    if (r.locked) {
        r.phase_s = centre - sync_period_s * std::round(centre / sync_period_s);
    }
    return r;
}

std::size_t extreme(const Wave& w, double from_s, double to_s, bool highest) {
    const auto index = [&](double t) {
        return static_cast<std::size_t>(std::lower_bound(w.time_s.begin(), w.time_s.end(), t) -
                                        w.time_s.begin());
    };
    const std::size_t a = std::min(index(from_s), w.value.size() - 1);
    const std::size_t b = std::max(a + 1, std::min(index(to_s), w.value.size()));
    const auto begin = w.value.begin() + static_cast<std::ptrdiff_t>(a);
    const auto end = w.value.begin() + static_cast<std::ptrdiff_t>(b);
    const auto found = highest ? std::max_element(begin, end) : std::min_element(begin, end);
    return static_cast<std::size_t>(found - w.value.begin());
}

/// First time the wave falls through `level` between two indices, on straight lines between
/// samples.
double fall_through(const Wave& w, std::size_t from, std::size_t to, double level) {
    for (std::size_t k = from + 1; k <= to; ++k) {
        if (w.value[k] <= level) {
            const double part = (level - w.value[k - 1]) / (w.value[k] - w.value[k - 1]);
            return w.time_s[k - 1] + part * (w.time_s[k] - w.time_s[k - 1]);
        }
    }
    return NAN;
}

/// Mean of the figures of all whole periods in the wave (a wave that rises in the trace).
RampTruth judge_ramp(const Wave& w, const std::vector<double>& rise_s) {
    RampTruth total;
    int count = 0;
    for (std::size_t k = 0; k + 1 < rise_s.size(); ++k) {
        const double period = rise_s[k + 1] - rise_s[k];
        if (w.time_s.empty() || rise_s[k] - 0.1 * period < w.time_s.front() ||
            rise_s[k + 1] + 0.1 * period > w.time_s.back()) {
            continue;
        }
        const std::size_t top =
            extreme(w, rise_s[k] - 0.1 * period, rise_s[k] + 0.1 * period, true);
        const std::size_t low = extreme(w, w.time_s[top], w.time_s[top] + 0.6 * period, false);
        const std::size_t end =
            extreme(w, rise_s[k + 1] - 0.1 * period, rise_s[k + 1] + 0.1 * period, true);
        if (low <= top || end <= low + 20) {
            continue;
        }
        RampTruth r;
        r.peak_to_peak = w.value[end] - w.value[low];
        r.retrace_extremes_s = w.time_s[low] - w.time_s[top];
        const double swing = w.value[top] - w.value[low];
        r.retrace_10_90_s = fall_through(w, top, low, w.value[low] + 0.1 * swing) -
                            fall_through(w, top, low, w.value[low] + 0.9 * swing);
        const auto part = [&](const std::vector<double>& v) {
            return std::vector<double>(v.begin() + static_cast<std::ptrdiff_t>(low),
                                       v.begin() + static_cast<std::ptrdiff_t>(end) + 1);
        };
        judge_trace(part(w.time_s), part(w.value), r);
        for (double RampTruth::*m : {&RampTruth::peak_to_peak, &RampTruth::centring,
                                     &RampTruth::retrace_extremes_s, &RampTruth::retrace_10_90_s,
                                     &RampTruth::linearity_lsq_pct, &RampTruth::linearity_end_pct,
                                     &RampTruth::spacing_pct, &RampTruth::spacing_mean_pct}) {
            total.*m = (total.*m * count + r.*m) / (count + 1);
        }
        ++count;
    }
    if (count == 0) {
        total = {NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    }
    return total;
}

double at_time(const std::vector<double>& time_s, const std::vector<double>& value, double t) {
    const auto later = std::lower_bound(time_s.begin(), time_s.end(), t);
    const auto k = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(
        later - time_s.begin(), 1, static_cast<std::ptrdiff_t>(time_s.size()) - 1));
    const double part = (t - time_s[k - 1]) / (time_s[k] - time_s[k - 1]);
    return value[k - 1] + part * (value[k] - value[k - 1]);
}

void record(BoardModel& board, IdealSync* sync, const BoardParameters& p, double begin_s,
            double watch_s, double line_s, Recording& keep) {
    const double dense_begin = begin_s + 0.5 * watch_s;
    const double dense_end = dense_begin + kDenseLines * line_s;
    double next_line_sample = dense_begin;
    double rail_a = 0;
    const auto samples = static_cast<std::size_t>(watch_s / kFieldSampleS);
    for (std::size_t k = 0; k < samples; ++k) {
        const double t = begin_s + static_cast<double>(k) * kFieldSampleS;
        drive(board, sync, t, p, &keep);
        const VerticalOutput::Point v = board.vertical_at(t);
        keep.vertical.add(t, -v.yoke_a);
        keep.output.add(t, v.output_v);
        keep.rail.add(t, board.quantity(ChannelId::supply_v, t));
        rail_a += board.quantity(ChannelId::supply_a, t);
        for (; next_line_sample <= t && next_line_sample < dense_end;
             next_line_sample += kLineSampleS) {
            keep.horizontal.add(next_line_sample, board.line_at(next_line_sample).yoke_a);
        }
    }
    keep.rail_a = rail_a / static_cast<double>(samples);
    keep.peak_v = board.quantity(ChannelId::h_peak_v, board.now_s());
}

} // namespace

void judge_trace(const std::vector<double>& time_s, const std::vector<double>& value,
                 RampTruth& out) {
    const double t0 = time_s.front() + 0.05 * (time_s.back() - time_s.front());
    const double t1 = time_s.front() + 0.95 * (time_s.back() - time_s.front());
    constexpr int kPoints = 2001;
    std::vector<double> u(kPoints);
    std::vector<double> y(kPoints);
    for (std::size_t k = 0; k < kPoints; ++k) {
        u[k] = -1 + 2 * static_cast<double>(k) / (kPoints - 1);
        y[k] = at_time(time_s, value, t0 + 0.5 * (u[k] + 1) * (t1 - t0));
    }
    const auto [low, high] = std::minmax_element(y.begin(), y.end());
    const double swing = *high - *low;
    double uy = 0;
    double uu = 0;
    for (std::size_t k = 0; k < kPoints; ++k) {
        uy += u[k] * y[k];
        uu += u[k] * u[k];
    }
    out.centring = mean(y);
    double worst_lsq = 0;
    double worst_end = 0;
    for (std::size_t k = 0; k < kPoints; ++k) {
        const double ends = y.front() + 0.5 * (u[k] + 1) * (y.back() - y.front());
        worst_lsq = std::max(worst_lsq, std::fabs(y[k] - out.centring - uy / uu * u[k]));
        worst_end = std::max(worst_end, std::fabs(y[k] - ends));
    }
    out.linearity_lsq_pct = 100 * worst_lsq / swing;
    out.linearity_end_pct = 100 * worst_end / swing;
    double least = INFINITY;
    double most = -INFINITY;
    for (std::size_t k = 0; k < 10; ++k) {
        const double step = y[(k + 1) * 200] - y[k * 200];
        least = std::min(least, step);
        most = std::max(most, step);
    }
    out.spacing_pct = 100 * (most - least) / (most + least);
    out.spacing_mean_pct = 100 * (most - least) / ((y.back() - y.front()) / 10);
}

BoardTruth measure_truth(const BoardParameters& p, const wire::SyncSettings& settings,
                         const TruthOptions& options) {
    const sync::PlanResult plan = sync::make_plan(settings, static_cast<std::uint32_t>(kClockHz));
    assert(plan.ok);
    BoardModel board(p, BoardPower::kAlwaysOn, options.live);
    IdealSync ideal(plan.achieved, kClockHz);
    IdealSync* sync = options.sync ? &ideal : nullptr;
    drive(board, sync, options.settle_s, p, nullptr);
    Recording keep;
    const double line_s = 1 / ideal.line_rate_hz();
    record(board, sync, p, options.settle_s, options.watch_s, line_s, keep);

    BoardTruth truth;
    truth.line =
        judge_rate(keep.line, keep.line_start_s, line_s, options.line_bound_s, options.watch_s);
    truth.field = judge_rate(keep.field, keep.field_start_s, 1 / ideal.field_rate_hz(),
                             options.field_bound_s, options.watch_s);
    truth.horizontal = judge_ramp(keep.horizontal, keep.line.rise_s);
    truth.vertical = judge_ramp(keep.vertical, keep.field.rise_s);
    truth.supply_v = mean(keep.rail.value);
    truth.supply_a = keep.rail_a;
    const auto [low, high] = std::minmax_element(keep.rail.value.begin(), keep.rail.value.end());
    truth.supply_ripple_v = *high - *low;
    const auto [out_low, out_high] =
        std::minmax_element(keep.output.value.begin(), keep.output.value.end());
    truth.v_out_min_v = *out_low;
    truth.v_out_max_v = *out_high;
    truth.h_peak_v = keep.peak_v;
    truth.heatsink_c = board.quantity(ChannelId::heatsink_c, board.now_s());
    return truth;
}

} // namespace yokedock::sim
