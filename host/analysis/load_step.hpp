// SPDX-License-Identifier: MIT
// Load step: a known voltage through a known resistance is switched onto a coil, the current is
// sampled point by point, and resistance and inductance are read off its rise. docs/load_step.md
// has model, formulas and uncertainty budget.
#pragma once
#include "host/analysis/figure.hpp"
#include <limits>
#include <string>
#include <vector>

namespace yokedock::analysis {

/// Uncertainties are standard (k = 1). Everything in series with the coil counts as source: drive
/// resistor, switch, relay, shunt.
struct StepDrive {
    double volts = 0; ///< open circuit, above 0
    double volts_u = 0;
    double source_ohm = 0; ///< 0 or more
    double source_ohm_u = 0;
};

struct StepSamples {
    std::string prefix = "v"; ///< of the figures' names: "v" vertical, "h" horizontal
    /// Since the drive went on, input lag not taken off. In any order; any number of samples at one
    /// delay. Before 0 is before the drive went on.
    std::vector<double> time_s;
    std::vector<double> amps; ///< as many
    double resolution_a = 0;  ///< one code; 0 unknown or none
    double gain_u_relative = 0;
    double zero_u_a = 0; ///< of the zero already taken off
    /// Largest departure of the converter from a straight line (data sheet: integral
    /// non-linearity).
    double linearity_u_a = 0;
    double lag_s = 0; ///< of the one-pole input filter
    double lag_u_s = 0;
    double origin_u_s = 0;       ///< of the instant at which the drive goes on, and of sampling
    double clock_u_relative = 0; ///< stated apart in the figures
    /// The drive was off for so long that no current was left (load_plan.hpp). false: the current
    /// at time 0 is fitted, samples before 0 are left out, and the zero must be known.
    bool starts_from_zero = true;
    double least_a = -std::numeric_limits<double>::infinity(); ///< ends of the channel's range
    double most_a = std::numeric_limits<double>::infinity();
};

/// One line of an uncertainty budget: standard uncertainty in the figure's unit.
struct BudgetLine {
    std::string source;
    double u = 0;
    bool common = false; ///< the same in every step by this bench: drops out of differences
    bool type_a = false; ///< from the scatter of these samples
};
using Budget = std::vector<BudgetLine>;

/// Root of squares.
[[nodiscard]] double total_u(const Budget& budget);

struct ResidualTest {
    double noise_a = 0;  ///< before the quantiser, from the residuals
    double smooth_a = 0; ///< of the residuals what neighbours share, quantiser taken off; rms
    double z = 0; ///< von Neumann's ratio as a standard normal: above 4 neighbours hang together
    bool good = true; ///< the model explains the samples
};

/// A second exponential, taken up when the samples demand one.
struct SecondRise {
    bool found = false;
    double f = 0;        ///< F of the two added parameters against the residuals
    double strength = 0; ///< its amplitude over that amplitude's uncertainty, quantiser included
    double share = 0;    ///< of the faster one in the whole rise
    double share_u = 0;
    double fast_s = 0; ///< the faster time constant; when not resolved, what it is below
    double slow_s = 0;
    bool resolved = false; ///< told from a jump
    bool falls = false;    ///< one of the two is negative: the current sags or overshoots
};

struct LoadStep {
    bool ok = false;
    std::string problem; ///< when not ok: what came, what was expected, what to do
    /// <prefix>_load_resistance_ohm, _inductance_h, _time_constant_s, _fast_inductance_h,
    /// _current_a. Inductance is flux over final current; fast inductance is drive over the first
    /// slope: the same for a plain coil, far less where turns are shorted. Time constant is the
    /// mean one, V-source included. Out of range: the value is a bound.
    Figure resistance;
    Figure inductance;
    Figure time_constant;
    Figure fast_inductance;
    Figure current; ///< in the end
    Budget resistance_budget;
    Budget inductance_budget;
    bool reversed = false;   ///< the current flows backwards; R and L are of its amount
    bool no_current = false; ///< resistance is a lower bound
    bool no_rise =
        false; ///< too fast for the input lag and the sampling; inductance is an upper bound
    double parallel_ohm = 0; ///< a resistor across the coil that would make the fast part, when it
                             ///< is a jump; 0 none
    double coil_ohm = 0;     ///< without that resistor
    double coil_h = 0;
    SecondRise second;
    ResidualTest residuals;
    std::size_t count = 0; ///< samples used
};

/// Never throws on bad input: problem says what is wrong with it.
[[nodiscard]] LoadStep measure_load_step(const StepSamples& samples, const StepDrive& drive);

} // namespace yokedock::analysis
