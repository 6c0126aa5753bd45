// SPDX-License-Identifier: MIT
#include "host/report/sweep_plot.hpp"
#include "host/report/gnuplot_text.hpp"
#include "host/report/sweep_rates.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using lock::BoardState;
using lock::StepResult;
using lock::SweepAxis;
using lock::SweepPart;
using Point = SweepPlot::Point;

constexpr const char* kPhase = "phase of retrace against sync, % of a period";

const char* axis_title(const SweepPlot& plot) {
    return plot.settings.axis == SweepAxis::kVertical ? "Vertical" : "Horizontal";
}
const char* rate_label(const SweepPlot& plot) {
    return plot.settings.axis == SweepAxis::kVertical ? "field rate, Hz" : "line rate, Hz";
}

double middle_phase(const std::vector<StepResult>& steps) {
    const auto locked = [](const StepResult& step) { return step.state == BoardState::locked; };
    const auto nominal = std::find_if(steps.begin(), steps.end(), [&](const StepResult& step) {
        return locked(step) && step.step.part == SweepPart::nominal;
    });
    const auto any =
        nominal != steps.end() ? nominal : std::find_if(steps.begin(), steps.end(), locked);
    return any != steps.end() ? any->phase : 0;
}

/// Lowest and highest locked phase of all series.
std::pair<double, double> phase_span(const SweepPlot& plot) {
    double low = INFINITY;
    double high = -INFINITY;
    for (const auto* series : {&plot.down, &plot.up, &plot.found}) {
        for (const Point& point : *series) {
            low = std::fmin(low, point.phase_pct);
            high = std::fmax(high, point.phase_pct);
        }
    }
    return {low, high};
}

std::string data_block(const char* name, std::size_t number, const std::vector<Point>& points,
                       double lost_at) {
    std::string out = fmt::format("${}{} << EOD\n", name, number);
    for (const Point& point : points) {
        const bool locked = std::isfinite(point.phase_pct);
        out += fmt::format("{} {} {}\n", point.rate_hz, point.phase_pct, locked ? NAN : lost_at);
    }
    return out + "EOD\n";
}

std::string vertical_line(double hz, const char* style, const std::string& label) {
    return fmt::format("set arrow from first {0}, graph 0 to first {0}, graph 1 nohead {1}\n"
                       "set label {2} at first {0}, graph 0.97 rotate right offset 0.7,0\n",
                       hz, style, gnuplot_quoted(label));
}

std::string panel(const SweepPlot& plot, std::size_t i) {
    auto [low, high] = phase_span(plot);
    const double margin = high > low ? 0.1 * (high - low) : 1;
    if (!(low <= high)) {
        low = high = 0;
    }
    const double lost_at = low - margin;
    std::string out = data_block("down", i, plot.down, lost_at) +
                      data_block("up", i, plot.up, lost_at) +
                      data_block("found", i, plot.found, lost_at);
    out += fmt::format("set title {}\nset xlabel {}\nset ylabel {}\n",
                       gnuplot_quoted(std::string(axis_title(plot)) + " lock over the rate"),
                       gnuplot_quoted(rate_label(plot)), gnuplot_quoted(kPhase));
    out += "unset arrow\nunset label\n";
    out += fmt::format("set yrange [{}:{}]\n", lost_at - margin, high + margin);
    out += vertical_line(plot.settings.nominal_hz, "lw 2 lc rgb '#228833'", "set rate");
    if (plot.free_run_hz) {
        out += vertical_line(*plot.free_run_hz, "dt 2 lc rgb '#777777'", "free run");
    }
    for (const double hz : plot.limits_hz) {
        out += vertical_line(hz, "dt 3 lc rgb '#aa3377'", "hold limit");
    }
    return out +
           fmt::format(
               "plot $down{0} using 1:2 with linespoints pt 7 ps 0.7 lc rgb '#4477aa' title 'way "
               "down', $up{0} using 1:2 with linespoints pt 6 ps 0.9 lc rgb '#ee6677' title 'way "
               "up', $found{0} using 1:2 with points pt 8 ps 1.2 lc rgb '#000000' title 'found "
               "after sync was removed', $down{0} using 1:3 with points pt 2 lc rgb '#4477aa' "
               "title 'not locked', $up{0} using 1:3 with points pt 2 lc rgb '#ee6677' notitle, "
               "$found{0} using 1:3 with points pt 2 lc rgb '#000000' notitle\n",
               i);
}

} // namespace

SweepPlot sweep_plot(const lock::SweepSummary& summary, const std::vector<StepResult>& steps) {
    SweepPlot plot;
    plot.settings = summary.settings;
    plot.free_run_hz = free_run_hz(summary);
    for (const lock::Limit* limit : {&summary.hold_low, &summary.hold_high}) {
        if (limit->status == lock::LimitStatus::kFound) {
            plot.limits_hz.push_back(limit->locked_hz);
        }
    }
    const double middle = middle_phase(steps);
    for (const StepResult& step : steps) {
        double phase = NAN;
        if (step.state == BoardState::locked && std::isfinite(step.phase)) {
            const double away = step.phase - middle;
            phase = 100 * (middle + away - std::round(away));
        }
        const Point point{step.achieved_hz, phase};
        switch (step.step.part) {
        case SweepPart::hold_down:
        case SweepPart::return_down:
            plot.down.push_back(point);
            break;
        case SweepPart::hold_up:
        case SweepPart::return_up:
            plot.up.push_back(point);
            break;
        case SweepPart::nominal: // both walks begin there
            plot.down.push_back(point);
            plot.up.push_back(point);
            break;
        case SweepPart::pull_in_down:
        case SweepPart::pull_in_up:
            plot.found.push_back(point);
            break;
        case SweepPart::free_run_before:
        case SweepPart::free_run_after:
            break;
        }
    }
    for (auto* series : {&plot.down, &plot.up, &plot.found}) {
        std::stable_sort(series->begin(), series->end(),
                         [](const Point& a, const Point& b) { return a.rate_hz < b.rate_hz; });
    }
    return plot;
}

bool has_points(const SweepPlot& plot) {
    const auto [low, high] = phase_span(plot);
    return low <= high;
}

std::string gnuplot_program(const std::vector<SweepPlot>& plots, PictureFormat format) {
    std::string out = gnuplot_head(format, 600 * std::max<std::size_t>(plots.size(), 1));
    out += fmt::format("set key outside bottom center horizontal\nset multiplot layout {},1\n",
                       plots.size());
    for (std::size_t i = 0; i < plots.size(); ++i) {
        out += panel(plots[i], i);
    }
    return out + "unset multiplot\n";
}

std::string terminal_plot(const SweepPlot& plot) {
    RampPlot ramp;
    ramp.title = std::string(axis_title(plot)) + " lock over the rate";
    ramp.x_label = fmt::format("distance from the set rate of {} Hz, Hz",
                               rate_text(plot.settings.nominal_hz, plot.settings));
    ramp.y_label = kPhase;
    for (const auto* series : {&plot.down, &plot.up, &plot.found}) {
        for (const Point& point : *series) {
            if (std::isfinite(point.phase_pct)) {
                ramp.x.push_back(point.rate_hz - plot.settings.nominal_hz);
                ramp.y.push_back(point.phase_pct);
            }
        }
    }
    return terminal_plot(ramp);
}

} // namespace yokedock::report
