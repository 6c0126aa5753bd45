// SPDX-License-Identifier: MIT
// Which delays of a load step to sample. The bench drives its steps at exact ticks while samples
// are taken once a line: how long the drive is on and off decides at which delays samples fall.
//
// * One quick look at a load nobody knows: on for six of the longest time constants a yoke has
//   (40 mH), off for as long as allowed, about a second in all. It tells the time constant, or that
//   it is shorter than a few microseconds.
// * The precise look, planned from that: every delay from the edge to seven time constants (with
//   the input lag), as many samples as fill it well (2000) or as the longest run allows.
// * Off long enough for the current to die through the freewheel diode of voltage v:
//   L / R ln(1 + I R / v), after which it is nothing exactly. Where that is longer than the bench
//   can be off, the current left over is fitted (StepSamples::starts_from_zero false).
// * The period is no multiple of the line: it is off by 0.382 lines, the golden section, so that
//   after any number of periods the delays seen lie evenly in the line.
//
// Limits. With edges 2.05 ms apart (`check` keeps 4.1 ms) a run of 10 s has at most 2440 steps, and
// of each microsecond of delay 38 samples. What calibration leaves unknown of a time constant tau
// is hypot(u(lag), u(origin)); the fit does better as far as the shape of the rise tells lag and
// tau apart. 50 uH with 60 ohm behind 10 ohm has 0.7 us: calibration alone leaves 15 % at the
// vertical channel (2 us, 5 %) and 3 % at the horizontal one (0.2 us); measured on formulas, noise
// 0.4 codes: 3.5 % and 2.1 %. Measure small inductances at the horizontal channel.
#pragma once
#include "host/analysis/load_step.hpp"
#include <cstdint>

namespace yokedock::analysis {

/// What the bench can do; the defaults are those of its firmware at 16 MHz.
struct StepLimits {
    double tick_s = 62.5e-9;
    double sample_period_s = 63.5e-6; ///< one sample a line
    double least_s = 32768 * 62.5e-9; ///< of on and of off
    double most_s = 1600000 * 62.5e-9;
    double most_total_s = 10;
    double freewheel_v = 0.2; ///< least drop of the diode that takes over the coil's current
};

struct StepPlan {
    std::uint32_t on_ticks = 0;
    std::uint32_t off_ticks = 0;
    std::uint16_t periods = 0;
    bool starts_from_zero = true; ///< for StepSamples
    /// Not of use: the current left over is the same only from then on (it forgets what it began
    /// with by exp(-5) in every period).
    std::uint16_t skip_periods = 0;
    double from_s = 0;       ///< samples from here on count: before 0, with no current left
    double window_s = 0;     ///< the rise: every sample to here counts
    double to_s = 0;         ///< and as many of those after it, to here
    std::size_t samples = 0; ///< expected in the window
    double spacing_s = 0;    ///< of the delays in the window
    double inductance_u_relative = 0; ///< at worst: what calibration leaves of lag and origin
    std::vector<std::string> notes;   ///< what will limit the measurement, in words
};

[[nodiscard]] StepPlan plan_first_look(const StepDrive& drive, const StepLimits& limits = {});

/// first: what measure_load_step() made of the first look, whose samples had these lags. A first
/// look that failed or found no current gives the plan of the first look again, with a note.
[[nodiscard]] StepPlan plan_load_step(const LoadStep& first, const StepSamples& looked,
                                      const StepDrive& drive, const StepLimits& limits = {});

/// The samples of a run that the plan wants, thinned out evenly before and after the rise; of a
/// rise, at most `most_in_window`.
[[nodiscard]] StepSamples samples_for(const StepPlan& plan, const StepSamples& all,
                                      std::size_t most_in_window = 4000);

} // namespace yokedock::analysis
