// SPDX-License-Identifier: MIT
#include "host/report/gnuplot_text.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

std::string data_block(const RampPlot& plot, std::size_t number) {
    const bool fitted = plot.line.size() == plot.x.size() && plot.peak_to_peak > 0;
    std::string out = fmt::format("$ramp{} << EOD\n", number);
    for (std::size_t i = 0; i < plot.x.size(); ++i) {
        const bool inside = fitted && plot.x[i] >= plot.window_from && plot.x[i] <= plot.window_to;
        out += fmt::format("{} {} {} {}\n", plot.x[i], plot.y[i], inside ? plot.line[i] : NAN,
                           inside ? 100 * (plot.y[i] - plot.line[i]) / plot.peak_to_peak : NAN);
    }
    return out + "EOD\n";
}

} // namespace

std::string gnuplot_quoted(const std::string& text) {
    std::string out = "'";
    for (const char c : printable(text)) {
        out += c == '\'' ? std::string("''") : std::string(1, c);
    }
    return out + "'";
}

std::string gnuplot_head(PictureFormat format, std::size_t height_px) {
    const char* terminal = format == PictureFormat::kSvg ? "svg" : "pngcairo";
    const char* dynamic = format == PictureFormat::kSvg ? " dynamic" : "";
    return fmt::format("set terminal {} size 1000,{}{} background '#ffffff'\n"
                       "set datafile missing 'nan'\nset grid\nset key inside top center\n"
                       "set lmargin 10\nset rmargin 3\nset termoption noenhanced\n",
                       terminal, height_px, dynamic);
}

std::string gnuplot_program(const std::vector<RampPlot>& plots, PictureFormat format) {
    std::string out = gnuplot_head(format, 700 * std::max<std::size_t>(plots.size(), 1));
    for (std::size_t i = 0; i < plots.size(); ++i) {
        out += data_block(plots[i], i);
    }
    out += fmt::format("set multiplot layout {},1\n", 2 * plots.size());
    for (std::size_t i = 0; i < plots.size(); ++i) {
        const RampPlot& plot = plots[i];
        out +=
            fmt::format("set title {}\nset xlabel {}\nset ylabel {}\n", gnuplot_quoted(plot.title),
                        gnuplot_quoted(plot.x_label), gnuplot_quoted(plot.y_label));
        // Both pictures of a ramp share one time axis, so that a place in one is found in the
        // other.
        const auto [first, last] = std::minmax_element(plot.x.begin(), plot.x.end());
        if (first != plot.x.end() && *first < *last) {
            out += fmt::format("set xrange [{}:{}]\n", *first, *last);
        }
        out += fmt::format("plot $ramp{0} using 1:2 with points pt 7 ps 0.3 title 'measured', "
                           "$ramp{0} using 1:3 with lines lw 2 title 'least-squares line'\n",
                           i);
        const bool fitted = plot.line.size() == plot.x.size() && plot.peak_to_peak > 0;
        out += "set title 'distance from the least-squares line'\nset ylabel '% of peak to peak'\n";
        if (fitted) {
            out += fmt::format("plot $ramp{} using 1:4 with points pt 7 ps 0.3 notitle\n", i);
        } else {
            out += "unset title\nset multiplot next\n";
        }
    }
    return out + "unset multiplot\n";
}

} // namespace yokedock::report
