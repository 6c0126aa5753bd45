// SPDX-License-Identifier: MIT
// How far ngspice's circuit and the board model may lie apart. The rule is the one of the design: 3
// % of peak to peak, retrace within 8 %. Where the two are not models of the same thing, the
// difference has a physical reason, and stands here with it.
#pragma once
#include "tests/spice/waves.hpp"
#include <string>

namespace yokedock::spice {

struct Allowed {
    double current = 0.03; ///< of peak to peak
    double node = 0.03;    ///< of peak to peak; edges by `retrace` of the retrace apart
    double retrace = 0.08;
    std::string why; ///< of an exception
};

/// axis 'v' or 'h'. Without a yoke current only the output node is compared.
[[nodiscard]] Allowed allowed(char axis, const std::string& id);

/// A yoke that carries current: its ramp and retrace can be compared.
[[nodiscard]] inline bool deflects(const Agreement& a) {
    return a.swing_a > 1e-3;
}

} // namespace yokedock::spice
