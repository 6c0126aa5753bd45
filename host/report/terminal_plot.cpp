// SPDX-License-Identifier: MIT
#include "host/report/canvas.hpp"
#include "host/report/ramp_plot.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

std::vector<double> deviation_pct(const RampPlot& plot) {
    std::vector<double> out(plot.x.size(), NAN);
    for (std::size_t i = 0; i < plot.x.size(); ++i) {
        if (plot.x[i] >= plot.window_from && plot.x[i] <= plot.window_to) {
            out[i] = 100 * (plot.y[i] - plot.line[i]) / plot.peak_to_peak;
        }
    }
    return out;
}

} // namespace

std::string terminal_plot(const RampPlot& plot) {
    std::string out = printable(plot.title).substr(0, kColumns) + '\n';
    const PlotRange x = plot_range(plot.x);
    const PlotRange y = plot_range(plot.y);
    if (!x.usable() || !y.usable()) {
        return out + "  nothing to draw\n";
    }
    const bool fitted = plot.line.size() == plot.x.size() && plot.peak_to_peak > 0;
    Canvas ramp(x, y, kRampRows);
    for (std::size_t i = 0; i < plot.x.size(); ++i) {
        ramp.put(plot.x[i], plot.y[i], '*');
    }
    for (std::size_t i = 0; fitted && i < plot.x.size(); ++i) {
        if (plot.x[i] >= plot.window_from && plot.x[i] <= plot.window_to) {
            ramp.put(plot.x[i], std::clamp(plot.line[i], y.low, y.high), '.');
        }
    }
    ramp.horizontal(0, '-');
    out += "  " + printable(plot.y_label).substr(0, kColumns - 2) + '\n' + ramp.text() +
           ramp.x_axis(plot.x_label);
    if (!fitted) {
        return out;
    }
    const std::vector<double> deviation = deviation_pct(plot);
    PlotRange span = plot_range(deviation);
    if (!span.usable()) {
        return out;
    }
    span.take(0);
    Canvas below(x, span, kDeviationRows);
    for (std::size_t i = 0; i < plot.x.size(); ++i) {
        below.put(plot.x[i], deviation[i], '*');
    }
    below.horizontal(0, '-');
    return out + "  distance from the least-squares line, % of peak to peak in the window\n" +
           below.text() + below.x_axis(plot.x_label);
}

} // namespace yokedock::report
