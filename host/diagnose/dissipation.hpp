// SPDX-License-Identifier: MIT
// What the vertical output stage turns into heat: the reason why a new IC dies like the old one.
#pragma once

namespace yokedock::diagnose {

/// A class-B stage that drives a sawtooth of peak-to-peak current through a coil.
struct VerticalStage {
    double supply_v = 0; ///< from rail to rail: U of a single rail, U+ and U- added of two
    double current_pp_a = 0;
    double resistance_ohm = 0; ///< coil and sense resistor
    double quiescent_a = 0.01; ///< typical of vertical output ICs; data sheets give 10 mA or less
};

struct Dissipation {
    double supply_w = 0;
    double load_w = 0;
    double ic_w = 0;
};

/// Half a sawtooth of peak I = Ipp/2 flows from each half of the supply: its mean is I/4, so the
/// supply gives U I/4 = U Ipp/8 and U times the quiescent current; the load takes I^2 R/3. Retrace
/// is left out: it takes a few percent of the time. Checked against the worked example of the
/// TDA4863J data sheet (value from memory): 9 V and -8 V, 0.71 A peak, 6 + 1 ohm: 3.2 W from the
/// supply, 1.2 W in the load, 2 W in the IC.
[[nodiscard]] Dissipation vertical_dissipation(const VerticalStage& stage);

/// Most of thermal resistance, K/W, from junction to air at which the junction stays below the
/// limit less 25 K at 50 C inside the cabinet (common practice, no source).
[[nodiscard]] double most_thermal_resistance(double ic_w, double junction_limit_c);

} // namespace yokedock::diagnose
