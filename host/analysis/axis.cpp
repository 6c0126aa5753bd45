// SPDX-License-Identifier: MIT
#include "host/analysis/axis.hpp"
#include "host/analysis/crossings.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {
namespace {

constexpr double kEnoughFolded = 0.25; // part of the samples that marks must reach to be used

// A free-running oscillator may be far off, but not by half.
double least_rate(double nominal_hz, double otherwise_hz) {
    return nominal_hz > 0 ? 0.5 * nominal_hz : otherwise_hz;
}
double most_rate(double nominal_hz, double otherwise_hz) {
    return nominal_hz > 0 ? 2 * nominal_hz : otherwise_hz;
}

const capture::Samples* channel(const capture::Observation& o, const std::string& name) {
    const auto found = o.channels.find(name);
    return found == o.channels.end() || found->second.value.empty() ? nullptr : &found->second;
}

// Steady sync is taken as its straight line: the board's oscillators do not follow the generator's
// ticks.
// Where a locked board's edges tell the period better than sync does (an oscilloscope steps over
// edges of sync, and sees the slopes of a retrace), the line is turned to that period about its
// middle.
Marks sync_marks(const PeriodFit& sync, const PeriodFit* locked_edges) {
    Marks marks{{}, sync.period_s, true};
    const bool steady = sync.steady();
    const bool turn = steady && sync.resolution_s > 0 && locked_edges != nullptr &&
                      locked_edges->period_u_s < sync.period_u_s;
    marks.period_u_s = turn ? locked_edges->period_u_s : sync.period_u_s;
    const double difference_s = turn ? locked_edges->period_s - sync.period_s : 0;
    marks.period_s += difference_s;
    std::vector<double> middle(sync.run_start_s.size(), 0.0);
    std::vector<double> count(middle.size(), 0.0);
    for (const IndexedEdge& e : sync.edges) {
        middle[e.run] += static_cast<double>(e.index);
        count[e.run] += 1;
    }
    for (const IndexedEdge& e : sync.edges) {
        const double from_middle = static_cast<double>(e.index) - middle[e.run] / count[e.run];
        marks.time_s.push_back(steady ? sync.line_s(e) + difference_s * from_middle : e.time_s);
    }
    return marks;
}

// The board's own periods. Edges that differ from a straight line by no more than their own steps
// are replaced by the line; a lone missing edge is filled in.
Marks edge_marks(const PeriodFit& edges, double resolution_s) {
    Marks marks{{}, edges.period_s, false};
    const bool straight = resolution_s > 0 && edges.timing_sd_s <= resolution_s;
    marks.period_u_s = straight ? edges.period_u_s : 0;
    for (std::size_t i = 0; i < edges.edges.size(); ++i) {
        const IndexedEdge& e = edges.edges[i];
        const double at = straight ? edges.line_s(e) : e.time_s;
        if (i > 0 && e.run == edges.edges[i - 1].run) {
            const std::int64_t steps = e.index - edges.edges[i - 1].index;
            const double before = marks.time_s.back();
            for (std::int64_t k = 1; k < steps && steps <= 4; ++k) {
                const double part = static_cast<double>(k) / static_cast<double>(steps);
                marks.time_s.push_back(before + part * (at - before));
            }
        }
        marks.time_s.push_back(at);
    }
    return marks;
}

bool enough(const Fold& fold, const capture::Samples& samples) {
    return static_cast<double>(fold.samples.size()) >=
           kEnoughFolded * static_cast<double>(samples.value.size());
}

// One sample per line at a creeping place looks like a ramp too, a few hundred times too slow: only
// a believable rate is taken.
std::optional<PeriodFit> period_from_ramp(const Axis& axis) {
    if (axis.ramp == nullptr) {
        return std::nullopt;
    }
    auto fit = fit_period(retrace_crossings(*axis.ramp), 0);
    if (fit && (fit->rate_hz < axis.least_rate_hz || fit->rate_hz > axis.most_rate_hz)) {
        return std::nullopt;
    }
    return fit;
}

void find_edges(const Axis& axis, AxisTiming& timing) {
    const auto& rise = axis.pulses->rise_s;
    const auto& fall = axis.pulses->fall_s;
    const auto& stamped = rise.size() >= 3 ? rise : fall;
    if (stamped.size() >= 3) {
        timing.edges = fit_period(stamped, axis.pulses->resolution_s, axis.pulses->unwatched);
        timing.source = EdgeSource::kComparator;
    }
    if (!timing.edges) {
        timing.edges = period_from_ramp(axis);
        timing.source = EdgeSource::kRamp;
    }
    if (!timing.edges) {
        timing.source = EdgeSource::kNone;
        timing.edge_problem = axis.ramp == nullptr
                                  ? "no retrace edges were seen and its current was not sampled"
                                  : "no retrace edges were seen, and the current shows none: no "
                                    "ramp, fewer than 3 periods, or "
                                    "fewer than 8 samples per period";
    }
}

} // namespace

Axis vertical_axis(const capture::Observation& o, const AnalysisOptions& options) {
    return {true,
            "v",
            "vertical",
            "top",
            "bottom",
            "v_yoke_a",
            &o.field_pulses,
            &o.sync.field_start_s,
            channel(o, "v_yoke_a"),
            &options.vertical_window,
            options.vertical_trace_part,
            options.vertical_s_q,
            options.vertical_lock,
            least_rate(o.field_rate_hz, 20),
            most_rate(o.field_rate_hz, 250)};
}

Axis horizontal_axis(const capture::Observation& o, const AnalysisOptions& options) {
    return {false,
            "h",
            "horizontal",
            "left",
            "right",
            "h_yoke_a",
            &o.line_pulses,
            &o.sync.line_start_s,
            channel(o, "h_yoke_a"),
            &options.horizontal_window,
            options.horizontal_trace_part,
            options.horizontal_s_q,
            options.horizontal_lock,
            least_rate(o.line_rate_hz, 5e3),
            most_rate(o.line_rate_hz, 1e5)};
}

AxisTiming time_axis(const Axis& axis, const capture::Observation& observation) {
    AxisTiming timing;
    find_edges(axis, timing);
    timing.sync = fit_period(*axis.sync_s, observation.sync.resolution_s);
    if (!timing.sync) {
        timing.lock.text = observation.sync_on ? "when sync was sent is not known"
                                               : "no sync was sent while the board was observed";
        return timing;
    }
    if (!timing.edges) {
        timing.lock.text = timing.edge_problem;
        return timing;
    }
    timing.track = track_phase(*timing.sync, *timing.edges);
    timing.lock = decide_lock(*timing.track, axis.lock);
    return timing;
}

AxisFold fold_axis(const Axis& axis, const AxisTiming& timing, const capture::Samples& samples) {
    AxisFold result;
    const bool on_sync =
        timing.sync && (timing.lock.state == LockState::kLocked ||
                        (timing.lock.state == LockState::kUndecided && !timing.edges));
    if (on_sync) {
        const bool locked = timing.lock.state == LockState::kLocked && timing.edges;
        result.fold = fold(samples, sync_marks(*timing.sync, locked ? &*timing.edges : nullptr));
        if (enough(result.fold, samples)) {
            return result;
        }
    }
    if (timing.edges) {
        const double step =
            timing.source == EdgeSource::kComparator ? axis.pulses->resolution_s : 0;
        result.fold = fold(samples, edge_marks(*timing.edges, step));
        if (enough(result.fold, samples)) {
            return result;
        }
    }
    if (axis.ramp != nullptr) { // edges were watched at another time than the samples were taken
        const auto own = period_from_ramp(axis);
        if (own) {
            result.fold = fold(samples, edge_marks(*own, 0));
            if (enough(result.fold, samples)) {
                return result;
            }
        }
    }
    result.fold = {};
    result.problem = timing.edges || timing.sync
                         ? "neither sync nor retrace edges are known for the time of its samples"
                         : timing.edge_problem;
    return result;
}

std::string where_on(const Axis& axis, double place) {
    return place < -1.0 / 3 ? axis.early : (place > 1.0 / 3 ? axis.late : "middle");
}

} // namespace yokedock::analysis
