// SPDX-License-Identifier: MIT
#include "host/report/ramp_plot.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <sstream>

using namespace yokedock::report;
using Catch::Contains;

namespace {

/// A rising ramp from -1 to 1 A over 16 ms with a bow of 2 % of peak to peak.
RampPlot ramp() {
    RampPlot plot;
    plot.title = "Vertical ramp";
    plot.x_label = "time after sync, ms";
    plot.y_label = "load current, A";
    for (int i = 0; i <= 160; ++i) {
        const double x = i / 80.0 - 1;
        plot.x.push_back(i / 10.0);
        plot.y.push_back(x + 0.04 * (0.5 - x * x));
        plot.line.push_back(x);
    }
    plot.window_from = 1;
    plot.window_to = 15;
    plot.peak_to_peak = 2;
    return plot;
}

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> out;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) {
        out.push_back(line);
    }
    return out;
}

std::size_t stars(const std::string& line) {
    return static_cast<std::size_t>(std::count(line.begin(), line.end(), '*'));
}

} // namespace

TEST_CASE("the terminal plot is plain, fits, and has axes with numbers and units") {
    const std::string text = terminal_plot(ramp());
    for (const std::string& line : lines_of(text)) {
        INFO(line);
        CHECK(line.size() <= kColumns);
        CHECK(printable(line) == line);
    }
    CHECK_THAT(text, Contains("time after sync, ms") && Contains("load current, A") &&
                         Contains("% of peak to peak"));
    CHECK_THAT(text, Contains("16")); // right end of the time axis
}

TEST_CASE("the ramp rises from bottom left to top right") {
    const auto lines = lines_of(terminal_plot(ramp()));
    // Line 0 is the title, 1 the label, 2 to 15 the ramp.
    const std::string& top = lines.at(2);
    const std::string& bottom = lines.at(15);
    CHECK(stars(top) > 0);
    CHECK(stars(bottom) > 0);
    CHECK(top.find('*') > bottom.rfind('*'));
}

TEST_CASE("the deviation below is magnified to its own scale and confined to the window") {
    const std::string text = terminal_plot(ramp());
    // 0.04 * (0.5 - x^2) / 2: +1 % in the middle; at the window's ends x = 0.875, so -0.53 %.
    CHECK_THAT(text, Contains("         1 |"));
    CHECK_THAT(text, Contains("-0.5312 |"));
}

TEST_CASE("plots of nothing, of one level, of one point and without a fit are drawn or said to be "
          "empty") {
    CHECK_THAT(terminal_plot({}), Contains("nothing to draw"));
    RampPlot flat = ramp();
    std::fill(flat.y.begin(), flat.y.end(), 0.0);
    flat.line.clear();
    CHECK_THAT(terminal_plot(flat), Contains("*") && !Contains("% of peak"));
    RampPlot nan = ramp();
    std::fill(nan.y.begin(), nan.y.end(), NAN);
    CHECK_THAT(terminal_plot(nan), Contains("nothing to draw"));
    RampPlot point;
    point.x = {5};
    point.y = {-3};
    CHECK_THAT(terminal_plot(point), Contains("*"));
}

TEST_CASE("the gnuplot program carries its data and cannot be bent by a title") {
    RampPlot plot = ramp();
    plot.title = "it's `rm -rf /` \"x\"\nset output 'x'";
    const std::string program = gnuplot_program({plot, ramp()}, PictureFormat::kSvg);
    CHECK_THAT(program, Contains("set title 'it''s `rm -rf /` \"x\"?set output ''x'''"));
    CHECK_THAT(program, Contains("$ramp0 << EOD") && Contains("$ramp1 << EOD"));
    CHECK_THAT(program, Contains("terminal svg"));
    CHECK_THAT(gnuplot_program({plot}, PictureFormat::kPng), Contains("terminal png"));
}
