// SPDX-License-Identifier: MIT
// Field output stage with its supply as a textbook draws it, for ngspice: transistors, diodes and
// switches, nothing of the board model's equations. docs/independent_check.md has the circuit and
// where it is from.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include <string>
#include <vector>

namespace yokedock::spice {

constexpr double kFieldS = 1.001 / 60; ///< 525/59.94
constexpr double kResetS = 366e-6;     ///< the ramp's reset switch is closed so long

struct VerticalCase {
    std::string id;     ///< of the list of faults, or "healthy"
    std::string change; ///< "coupling capacitor 1000 uF -> 100 uF"
    /// Component values, the fault's among them. Members that are no component (knees, hand-over
    /// of the output transistors, drop-out) are set by vertical_values() from the transistors
    /// below.
    sim::BoardParameters values;
    bool bias_shorted = false;      ///< the three bias diodes
    bool boost_never_lifts = false; ///< the boost's upper switch open, its lower one sound
};

/// Where ngspice starts: the state of a settled field at the moment the ramp is reset.
struct VerticalStart {
    double yoke_a = 0;
    double coupling_v = 0;
    double boost_v = 0;
    double raw_v = 0; ///< across the reservoir
    double mains_turns = 0;
    double ramp_upper_v = 0;
    double ramp_lower_v = 0;
};

/// A healthy board with component values from `board`, and faults of it.
[[nodiscard]] std::vector<VerticalCase> vertical_cases(const sim::BoardParameters& board);

/// `board` with what the circuit's transistors, diodes and regulator make of it.
[[nodiscard]] sim::BoardParameters vertical_values(const sim::BoardParameters& board,
                                                   bool bias_shorted, bool boost_never_lifts);

/// line_a: what the line output stage draws from the rail, constant. Time 0 is a reset. Nodes:
/// out, rail, cc (yoke side of the coupling capacitor), boost; yoke current i(ly), positive out of
/// the output.
[[nodiscard]] std::string vertical_netlist(const VerticalCase& which, const VerticalStart& start,
                                           double line_a);

} // namespace yokedock::spice
