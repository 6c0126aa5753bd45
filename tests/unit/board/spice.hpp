// SPDX-License-Identifier: MIT
// Runs ngspice on a netlist and reads its waveforms back. Test only.
#pragma once
#include <string>
#include <vector>

namespace yokedock::sim {

struct SpiceRun {
    std::vector<double> time_s;
    std::vector<std::vector<double>> value; ///< one per wave asked for
    std::string log;                        ///< what ngspice said; read it when waves are missing

    /// Straight line between the points around t.
    [[nodiscard]] double at(std::size_t wave, double t) const;
};

/// `circuit`: elements only. Runs a transient from initial conditions to end_s, keeping from
/// begin_s on, with steps of at most step_s; `waves` are ngspice expressions such as "v(out)". In a
/// new temporary folder, removed after.
[[nodiscard]] SpiceRun run_spice(const std::string& circuit, const std::vector<std::string>& waves,
                                 double step_s, double end_s, double begin_s);

} // namespace yokedock::sim
