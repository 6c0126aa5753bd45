// SPDX-License-Identifier: MIT
// Line output stage as a textbook draws it, for ngspice: transistor with base drive, damper,
// retrace capacitor, transformer with a loaded winding, yoke and S capacitor, supply. See
// docs/independent_check.md.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include <string>
#include <vector>

namespace yokedock::spice {

constexpr double kLineS = 1.001 / 15750; ///< 525/59.94

struct LineCase {
    std::string id; ///< of the list of faults, or "healthy"
    std::string change;
    /// Component values, the fault's among them; those that are no component are set by
    /// line_values().
    sim::BoardParameters values;
    double joint_ohm = 0;      ///< in series with the yoke
    double short_turn_ohm = 0; ///< a shorted transformer winding as the primary sees it; 0 none
    bool damper_open = false;
    double on_phase = 0.42; ///< base drive returns this part of a line after it went
};

/// Where ngspice starts: a settled line at the moment the drive goes.
struct LineStart {
    double yoke_a = 0;
    double choke_a = 0;
    double s_v = 0;
    double rail_v = 0;
};

[[nodiscard]] std::vector<LineCase> line_cases(const sim::BoardParameters& board);

/// Component values as the board model knows them.
[[nodiscard]] sim::BoardParameters line_values(const LineCase& which);

/// Time 0: the drive goes. Nodes: coll, rail; yoke current i(ly), positive at the end of the trace.
/// other_a: what the rest of the board draws from the rail.
[[nodiscard]] std::string line_netlist(const LineCase& which, const LineStart& start,
                                       double other_a);

} // namespace yokedock::spice
