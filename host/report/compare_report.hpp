// SPDX-License-Identifier: MIT
// A comparison as text, as JSON and as pictures. Pure.
#pragma once
#include "host/diagnose/compare.hpp"
#include "host/report/ramp_plot.hpp"
#include <string>
#include <vector>

namespace yokedock::report {

/// "DIFFERENT", then one sentence for each axis, what differs and what could not be told.
[[nodiscard]] std::string compare_summary(const diagnose::Comparison& comparison,
                                          const std::string& record_name);
/// The conditions: equal, other, not known.
[[nodiscard]] std::string compare_conditions(const diagnose::Comparison& comparison);
/// Ramps in words.
[[nodiscard]] std::string compare_ramps(const diagnose::Comparison& comparison);
/// Every figure side by side, plain ASCII, at most kColumns wide.
[[nodiscard]] std::string compare_table(const diagnose::Comparison& comparison);

[[nodiscard]] const char* verdict_word(diagnose::Verdict verdict);

/// One JSON object with schema number (docs/compare.md).
[[nodiscard]] std::string compare_json(const diagnose::Comparison& comparison,
                                       const std::string& record_name,
                                       const std::vector<std::string>& warnings);

/// Two ramps over one time axis, and their difference.
struct OverlayPlot {
    std::string title;
    std::string x_label;
    std::string y_label;
    std::string record_name;
    std::string reference_name;
    std::vector<double> record_x; ///< ascending
    std::vector<double> record_y;
    std::vector<double> reference_x;
    std::vector<double> reference_y;
    std::vector<double> difference_x;   ///< over the window; empty: not compared
    std::vector<double> difference_pct; ///< record less reference, % of the reference's p-p
    std::vector<double> shape_pct;      ///< the same without size and centring
};

/// Plain ASCII, at most kColumns wide: '*' record, 'o' reference; below the differences.
[[nodiscard]] std::string terminal_plot(const OverlayPlot& plot);
/// As gnuplot_program of ramp_plot.hpp.
[[nodiscard]] std::string gnuplot_program(const std::vector<OverlayPlot>& plots,
                                          PictureFormat format);

} // namespace yokedock::report
