// SPDX-License-Identifier: MIT
#include "host/analysis/figures.hpp"
#include "host/analysis/quantisation.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr double kMicro = 1e6;

void add_edge_figures(const Axis& axis, const AxisTiming& timing, double clock_u,
                      AnalysisResult& result) {
    const std::string rate = axis.text("rate");
    const std::string missing = axis.text("retrace edges missing");
    const std::string extra = axis.text("retrace edges too many");
    if (!timing.edges) {
        result.figures.push_back(
            not_measured(axis.name("rate_hz"), rate, "Hz", timing.edge_problem));
        result.figures.push_back(
            not_measured(axis.name("missing_edges"), missing, "", timing.edge_problem));
        result.figures.push_back(
            not_measured(axis.name("extra_edges"), extra, "", timing.edge_problem));
        return;
    }
    const PeriodFit& fit = *timing.edges;
    const char* method = timing.source == EdgeSource::kRamp
                             ? "least squares over retraces seen in the current"
                             : "least squares over retrace edges";
    Figure f =
        measured(axis.name("rate_hz"), rate, "Hz", fit.rate_hz, fit.rate_u_hz, fit.count, method);
    f.u_clock = fit.rate_hz * clock_u;
    result.figures.push_back(f);
    result.figures.push_back(measured(axis.name("missing_edges"), missing, "",
                                      static_cast<double>(fit.missing), 0, fit.count, "counted"));
    result.figures.push_back(measured(axis.name("extra_edges"), extra, "",
                                      static_cast<double>(fit.extra), 0, fit.count, "counted"));
}

void add_lock_figures(const Axis& axis, const AxisTiming& timing, double clock_u,
                      AnalysisResult& result) {
    const LockDecision& lock = timing.lock;
    const std::string locked = axis.text("locked to sync");
    if (lock.state == LockState::kUndecided) {
        result.figures.push_back(not_measured(axis.name("locked"), locked, "", lock.text));
    } else {
        result.figures.push_back(measured(axis.name("locked"), locked, "",
                                          lock.state == LockState::kLocked ? 1 : 0, 0, lock.count,
                                          lock.text));
    }
    const std::string text = axis.text("retrace edge after sync, mean");
    if (lock.state != LockState::kLocked || timing.source != EdgeSource::kComparator) {
        const char* reason =
            lock.state == LockState::kLocked
                ? "edges come from the current, not from a comparator"
                : (lock.state == LockState::kUndecided ? lock.text.c_str() : "not locked");
        result.figures.push_back(not_measured(axis.name("phase_us"), text, "us", reason));
        return;
    }
    const double scale = timing.track->sync_period_s * kMicro;
    // Stamps lie half a step late or early on average: which, the front end decides.
    const double step_u = axis.pulses->resolution_s * kMicro / std::sqrt(12.0);
    const double sync_u = timing.sync->place_u_s() * kMicro;
    // Retrace may begin before sync: then less than nothing, not nearly a period, after it.
    const double phase = lock.phase - std::round(lock.phase);
    Figure f =
        measured(axis.name("phase_us"), text, "us", phase * scale,
                 std::hypot(lock.phase_u * scale, step_u, sync_u), lock.count, "mean over edges");
    f.u_clock = std::abs(f.value) * clock_u;
    result.figures.push_back(f);
}

// Each edge about the place it should have: mean phase when locked, else the straight line of its
// period.
Jitter axis_jitter(const AxisTiming& timing, double resolution_s) {
    if (timing.lock.state != LockState::kLocked) {
        return jitter_of(timing.edges->residual_s, timing.edges->edges, resolution_s);
    }
    std::vector<double> residual;
    std::vector<IndexedEdge> edges;
    for (const PhasePoint& p : timing.track->points) {
        const double off = p.phase - timing.lock.phase;
        residual.push_back((off - std::round(off)) * timing.track->sync_period_s);
        edges.push_back({p.time_s, p.edge, p.run});
    }
    return jitter_of(residual, edges, resolution_s);
}

void add_jitter_figures(const Axis& axis, const AxisTiming& timing, AnalysisResult& result) {
    const std::string rms = axis.text("jitter, rms");
    const std::string peak = axis.text("jitter, peak");
    const char* step_name = axis.vertical ? "field_to_field_us" : "line_to_line_us";
    const std::string step =
        axis.text(axis.vertical ? "jitter, field to field, rms" : "jitter, line to line, rms");
    const bool few = timing.edges && timing.edges->count < 8;
    if (!timing.edges || timing.source != EdgeSource::kComparator || few) {
        const std::string reason = few ? "fewer than 8 retrace edges"
                                   : timing.edges
                                       ? "edges come from the current, not from a comparator"
                                       : timing.edge_problem;
        result.figures.push_back(not_measured(axis.name("jitter_rms_us"), rms, "us", reason));
        result.figures.push_back(not_measured(axis.name("jitter_peak_us"), peak, "us", reason));
        result.figures.push_back(not_measured(axis.name(step_name), step, "us", reason));
        return;
    }
    const Jitter j = axis_jitter(timing, axis.pulses->resolution_s);
    const char* method =
        timing.lock.state == LockState::kLocked
            ? "about the mean phase against sync, the stamps' own steps taken off"
            : "about the straight line of the period, the stamps' own steps taken off";
    const double tick_u = axis.pulses->resolution_s / std::sqrt(12.0);
    result.figures.push_back(measured(axis.name("jitter_rms_us"), rms, "us", j.rms_s * kMicro,
                                      j.rms_u_s * kMicro, j.count, method));
    // The largest of n readings of Gaussian noise scatters by about rms / sqrt(2 ln n).
    const double peak_u = std::hypot(
        j.rms_s / std::sqrt(2 * std::log(std::max(3.0, static_cast<double>(j.count)))), tick_u);
    result.figures.push_back(measured(axis.name("jitter_peak_us"), peak, "us", j.peak_s * kMicro,
                                      peak_u * kMicro, j.count, "largest distance from the place"));
    result.figures.push_back(measured(axis.name(step_name), step, "us", j.successive_s * kMicro,
                                      j.successive_u_s * kMicro, j.count,
                                      "change from one edge to the next"));
}

void add_pulse_width(const Axis& axis, const AxisTiming& timing, double clock_u,
                     AnalysisResult& result) {
    const std::string text = axis.text("retrace, comparator pulse");
    const auto& rise = axis.pulses->rise_s;
    const auto& fall = axis.pulses->fall_s;
    // Where a pulse is too short for the device to stamp both its ends, it may get a rise and then
    // the next pulse's fall, time and again: that is no pulse.
    const double period = timing.edges ? timing.edges->period_s : INFINITY;
    bool too_long = false;
    std::vector<double> width;
    std::size_t f = 0;
    for (std::size_t i = 0; i < rise.size(); ++i) {
        while (f < fall.size() && fall[f] <= rise[i]) {
            ++f;
        }
        if (f < fall.size() && (i + 1 == rise.size() || fall[f] < rise[i + 1])) {
            const double each = fall[f] - rise[i];
            too_long = too_long || each >= period;
            if (each < period) {
                width.push_back(each);
            }
        }
    }
    if (width.size() < 3) {
        result.figures.push_back(not_measured(
            axis.name("retrace_pulse_us"), text, "us",
            too_long ? "rises and falls stamped are of different pulses: too short for the bench"
                     : "both edges of the retrace pulse were not stamped"));
        return;
    }
    auto middle = width.begin() + static_cast<std::ptrdiff_t>(width.size() / 2);
    std::nth_element(width.begin(), middle, width.end());
    const double median = *middle;
    double sum = 0;
    double sum2 = 0;
    double n = 0;
    for (const double w :
         width) { // glitches make pulses of any width: keep what is near the median
        if (std::abs(w - median) < 0.2 * median) {
            sum += w - median;
            sum2 += (w - median) * (w - median);
            n += 1;
        }
    }
    const double mean = median + sum / n;
    const double spread = std::sqrt(std::max(0.0, sum2 / n - std::pow(sum / n, 2)));
    // Jitter of the edges spreads both ends over the stamps' steps; without it they fall at the
    // same place between two steps every time.
    const double step = axis.pulses->resolution_s;
    const double jitter =
        timing.edges ? noise_before_quantiser(step, timing.edges->timing_sd_s) : 0;
    const double step_u = std::sqrt(2.0) * quantised_mean_u(step, jitter);
    Figure figure =
        measured(axis.name("retrace_pulse_us"), text, "us", mean * kMicro,
                 std::hypot(spread / std::sqrt(n), step_u) * kMicro, static_cast<std::size_t>(n),
                 "mean width of the comparator's pulse at its own threshold");
    figure.u_clock = figure.value * clock_u;
    result.figures.push_back(figure);
}

} // namespace

void add_rate_figures(const Axis& axis, const AxisTiming& timing,
                      const capture::Observation& observation, AnalysisResult& result) {
    const double clock_u = observation.clock_u_relative;
    add_edge_figures(axis, timing, clock_u, result);
    const std::string sync = axis.text("sync rate");
    if (timing.sync) {
        Figure f = measured(axis.name("sync_rate_hz"), sync, "Hz", timing.sync->rate_hz,
                            std::max(timing.sync->rate_u_hz, timing.sync->rate_hz * 1e-12),
                            timing.sync->count, "least squares over sync starts");
        f.u_clock = f.value * clock_u;
        result.figures.push_back(f);
    } else {
        result.figures.push_back(
            not_measured(axis.name("sync_rate_hz"), sync, "Hz", timing.lock.text));
    }
    add_lock_figures(axis, timing, clock_u, result);
    add_jitter_figures(axis, timing, result);
    add_pulse_width(axis, timing, clock_u, result);
}

void add_interlace_figure(const Axis& axis, const AxisTiming& timing,
                          const capture::Observation& observation, AnalysisResult& result) {
    const std::string name = "v_interlace_lines";
    const std::string text = "offset of the two fields";
    const auto& line_start = observation.sync.line_start_s;
    std::string reason;
    if (!observation.interlaced) {
        reason = "sync is not interlaced";
    } else if (timing.lock.state != LockState::kLocked) {
        reason = "vertical is not locked";
    } else if (observation.sync.field_mid_line.size() != axis.sync_s->size()) {
        reason = "which field starts in mid-line is not known";
    }
    const auto line = reason.empty() ? fit_period(line_start, 0) : std::nullopt;
    if (reason.empty() && !line && !(observation.line_rate_hz > 0)) {
        reason = "the line rate is not known";
    }
    if (!reason.empty()) {
        result.figures.push_back(not_measured(name, text, "lines", reason));
        return;
    }
    // Index numbers of the sync fit count periods; give each its flag.
    const auto& fields = timing.sync->edges;
    std::vector<bool> flag(static_cast<std::size_t>(fields.back().index) + 1, false);
    std::size_t k = 0;
    for (const IndexedEdge& e : fields) {
        while (k < axis.sync_s->size() && (*axis.sync_s)[k] < e.time_s) {
            ++k;
        }
        flag[static_cast<std::size_t>(e.index)] =
            k < axis.sync_s->size() && observation.sync.field_mid_line[k];
    }
    const double period = line ? line->period_s : 1 / observation.line_rate_hz;
    const Interlace i = interlace_of(*timing.track, flag, period);
    if (!i.ok) {
        result.figures.push_back(
            not_measured(name, text, "lines", "fewer than 3 fields of each kind"));
        return;
    }
    const double tick_u = axis.pulses->resolution_s / period / std::sqrt(6.0);
    result.figures.push_back(measured(
        name, text, "lines", i.offset_lines,
        std::hypot(i.u_lines, i.u_lines * period < axis.pulses->resolution_s ? tick_u : 0.0),
        i.count, "retrace edges of the two kinds of field; 0.5 is perfect"));
}

} // namespace yokedock::analysis
