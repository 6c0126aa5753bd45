// SPDX-License-Identifier: MIT
// Phase of retrace against sync over the rate, on the way down and on the way up.
#pragma once
#include "host/lock/sweep_types.hpp"
#include "host/report/ramp_plot.hpp"

namespace yokedock::report {

/// The points of one sweep. Phases are in % of a period, in one piece round that at the set rate
/// (else a phase near 0 would jump to 100 and back).
struct SweepPlot {
    struct Point {
        double rate_hz;
        double phase_pct; ///< NaN where the board was not locked
    };
    lock::SweepSettings settings;
    std::vector<Point> down;       ///< hold_down, return_down; ascending in rate
    std::vector<Point> up;         ///< hold_up, return_up; ascending in rate
    std::vector<Point> found;      ///< pull-in; ascending in rate
    std::vector<double> limits_hz; ///< hold limits that were found
    std::optional<double> free_run_hz;
};

[[nodiscard]] SweepPlot sweep_plot(const lock::SweepSummary& summary,
                                   const std::vector<lock::StepResult>& steps);

/// At least one point was locked.
[[nodiscard]] bool has_points(const SweepPlot& plot);

/// A complete gnuplot program with its data, one picture under the other.
[[nodiscard]] std::string gnuplot_program(const std::vector<SweepPlot>& plots,
                                          PictureFormat format);

/// Plain ASCII, at most kColumns wide: all locked points in one picture.
[[nodiscard]] std::string terminal_plot(const SweepPlot& plot);

} // namespace yokedock::report
