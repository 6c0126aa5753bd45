// SPDX-License-Identifier: MIT
// A ramp, its straight line and what is left between them, for the terminal and for gnuplot. Pure.
#pragma once
#include <string>
#include <vector>

namespace yokedock::report {

/// x ascending. `line` has the straight line's value at each x (empty: no fit, no deviation is
/// drawn); samples outside [window_from, window_to] are drawn, but their deviation is not.
struct RampPlot {
    std::string title;
    std::string x_label; ///< with unit: "time after sync, us"
    std::string y_label; ///< with unit: "vertical load current, A"
    std::vector<double> x;
    std::vector<double> y;
    std::vector<double> line;
    double window_from = 0;
    double window_to = 0;
    double peak_to_peak = 0; ///< in the window; the deviation is drawn in % of it
};

/// Plain ASCII, at most kColumns wide, axes with numbers and units, the deviation magnified below.
[[nodiscard]] std::string terminal_plot(const RampPlot& plot);

enum class PictureFormat { kSvg, kPng };

/// A complete gnuplot program with its data, for gnuplot's standard input; the picture goes to its
/// standard output.
[[nodiscard]] std::string gnuplot_program(const std::vector<RampPlot>& plots, PictureFormat format);

} // namespace yokedock::report
