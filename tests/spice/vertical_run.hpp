// SPDX-License-Identifier: MIT
// One field stage run twice on the same drive: by ngspice and by the board model.
#pragma once
#include "tests/spice/vertical_circuit.hpp"
#include "tests/spice/waves.hpp"

namespace yokedock::spice {

struct VerticalRuns {
    Waves spice;
    Waves model;
    double drift_v = 0; ///< ngspice's coupling capacitor, from the window's first field to its last
    std::string log;    ///< what ngspice said
};

/// The model settles over 60 fields, ngspice starts from there and runs two more; the window is the
/// next `fields`, at 4 us steps, beginning with a reset of the ramp less 3 ms.
[[nodiscard]] VerticalRuns run_vertical(const VerticalCase& which, double fields = 6.3);

/// The model's half of it.
[[nodiscard]] Waves model_vertical(const VerticalCase& which, double fields = 6.3);

} // namespace yokedock::spice
