// SPDX-License-Identifier: MIT
#include "host/report/canvas.hpp"
#include "host/report/compare_report.hpp"
#include "host/report/gnuplot_text.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

PlotRange both(const std::vector<double>& a, const std::vector<double>& b) {
    std::vector<double> all = a;
    all.insert(all.end(), b.begin(), b.end());
    return plot_range(all);
}

/// Names that would break a picture apart are shortened.
std::string short_name(const std::string& name) {
    constexpr std::size_t kMost = 40;
    const std::string plain = printable(name);
    return plain.size() <= kMost ? plain : "..." + plain.substr(plain.size() - kMost + 3);
}

std::string block(const std::string& name, const std::vector<double>& x,
                  const std::vector<const std::vector<double>*>& columns) {
    std::string out = fmt::format("${} << EOD\n", name);
    for (std::size_t i = 0; i < x.size(); ++i) {
        out += fmt::format("{}", x[i]);
        for (const auto* column : columns) {
            out += fmt::format(" {}", (*column)[i]);
        }
        out += '\n';
    }
    return out + "EOD\n";
}

} // namespace

std::string terminal_plot(const OverlayPlot& plot) {
    std::string out = printable(plot.title).substr(0, kColumns) + '\n';
    const PlotRange x = both(plot.record_x, plot.reference_x);
    const PlotRange y = both(plot.record_y, plot.reference_y);
    if (!x.usable() || !y.usable()) {
        return out + "  nothing to draw\n";
    }
    Canvas ramps(x, y, kRampRows);
    for (std::size_t i = 0; i < plot.record_x.size(); ++i) {
        ramps.put(plot.record_x[i], plot.record_y[i], '*');
    }
    for (std::size_t i = 0; i < plot.reference_x.size(); ++i) {
        ramps.put(plot.reference_x[i], plot.reference_y[i], 'o');
    }
    ramps.horizontal(0, '-');
    out += fmt::format("  {}: * {}, o {} (where * does not hide it)\n",
                       printable(plot.y_label).substr(0, 20), short_name(plot.record_name),
                       short_name(plot.reference_name))
               .substr(0, kColumns) +
           ramps.text() + ramps.x_axis(plot.x_label);
    PlotRange span = both(plot.difference_pct, plot.shape_pct);
    if (plot.difference_x.empty() || !span.usable()) {
        return out;
    }
    span.take(0);
    Canvas below(x, span, kDeviationRows);
    for (std::size_t i = 0; i < plot.difference_x.size(); ++i) {
        below.put(plot.difference_x[i], plot.difference_pct[i], '*');
    }
    for (std::size_t i = 0; i < plot.difference_x.size(); ++i) {
        below.put(plot.difference_x[i], plot.shape_pct[i], '.');
    }
    below.horizontal(0, '-');
    return out + "  difference, % of peak to peak: * as it is, . size and centring taken off\n" +
           below.text() + below.x_axis(plot.x_label);
}

std::string gnuplot_program(const std::vector<OverlayPlot>& plots, PictureFormat format) {
    std::string out = gnuplot_head(format, 700 * std::max<std::size_t>(plots.size(), 1));
    for (std::size_t i = 0; i < plots.size(); ++i) {
        const OverlayPlot& plot = plots[i];
        out += block(fmt::format("record{}", i), plot.record_x, {&plot.record_y}) +
               block(fmt::format("reference{}", i), plot.reference_x, {&plot.reference_y}) +
               block(fmt::format("difference{}", i), plot.difference_x,
                     {&plot.difference_pct, &plot.shape_pct});
    }
    out += fmt::format("set multiplot layout {},1\n", 2 * plots.size());
    for (std::size_t i = 0; i < plots.size(); ++i) {
        const OverlayPlot& plot = plots[i];
        const PlotRange x = both(plot.record_x, plot.reference_x);
        out +=
            fmt::format("set title {}\nset xlabel {}\nset ylabel {}\n", gnuplot_quoted(plot.title),
                        gnuplot_quoted(plot.x_label), gnuplot_quoted(plot.y_label));
        if (x.usable()) {
            out += fmt::format("set xrange [{}:{}]\n", x.low, x.high);
        }
        out +=
            fmt::format("plot $reference{0} using 1:2 with lines lw 3 title {1}, $record{0} using "
                        "1:2 with points pt 7 ps 0.3 title {2}\n",
                        i, gnuplot_quoted(short_name(plot.reference_name)),
                        gnuplot_quoted(short_name(plot.record_name)));
        if (plot.difference_x.empty()) {
            out += "unset title\nset multiplot next\n";
            continue;
        }
        out += "set title 'difference, % of the reference''s peak to peak'\nset ylabel '%'\n" +
               fmt::format("plot $difference{0} using 1:2 with lines lw 2 title 'as it is', "
                           "$difference{0} using 1:3 with lines lw 2 title 'size and centring "
                           "taken off'\n",
                           i);
    }
    return out + "unset multiplot\n";
}

} // namespace yokedock::report
