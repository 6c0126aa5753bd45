// SPDX-License-Identifier: MIT
// One line output stage run twice on the same drive: by ngspice and by the board model.
#pragma once
#include "tests/spice/line_circuit.hpp"
#include "tests/spice/waves.hpp"

namespace yokedock::spice {

struct LineRuns {
    Waves spice;
    Waves model;
    double drift_a = 0; ///< ngspice's transformer current, from the window's first line to its last
    double supply_spice_a = 0; ///< what the stage draws from the rail, mean over the window
    double supply_model_a = 0;
    std::string log;
};

/// The model settles over 1500 lines, ngspice starts from there and runs two more; the window is
/// the next `lines`, at 0.1 us steps, beginning 5 us before a retrace.
[[nodiscard]] LineRuns run_line(const LineCase& which, double lines = 24.4);

/// The model's half of it.
[[nodiscard]] Waves model_line(const LineCase& which, double lines = 24.4);

} // namespace yokedock::spice
