// SPDX-License-Identifier: MIT
// Waveforms of one run, of ngspice or of the board model, and how far two runs of the same thing
// lie apart.
#pragma once
#include "tests/unit/board/spice.hpp"
#include <string>
#include <vector>

namespace yokedock::spice {

/// One stage over a window, at equal steps. Signs as the bench has them.
struct Waves {
    double step_s = 0;
    std::vector<double> yoke_a;
    std::vector<double> out_v; ///< output node of the field stage, collector of the line stage
    std::vector<double> supply_v;

    [[nodiscard]] double length_s() const { return step_s * static_cast<double>(yoke_a.size()); }
};

/// Straight lines between ngspice's own points. `wave` 0, 1, 2: yoke current, output node, rail;
/// the current times `sign`.
[[nodiscard]] Waves resample(const sim::SpiceRun& run, double begin_s, double step_s,
                             std::size_t count, double sign);

struct Agreement {
    double current = 0;  ///< largest distance, part of peak to peak
    double node = 0;     ///< the same, where retrace edges may lie slack_s apart
    double supply_v = 0; ///< largest distance, V
    double swing_a = 0;  ///< peak to peak, ngspice
    double node_pp_v = 0;
    double slack_s = 0;
    // Retrace, mean over the window: yoke current between 10 and 90 %, and the time the output node
    // is above half-way between its middle and its peak.
    double retrace_spice_s = 0;
    double retrace_model_s = 0;
    double width_spice_s = 0;
    double width_model_s = 0;
    double peak_spice_v = 0;
    double peak_model_v = 0;
};

/// Both of the same length and step. slack_share: part of the retrace (ngspice's) by which the
/// edges of the output node may lie apart.
[[nodiscard]] Agreement compare(const Waves& spice, const Waves& model, double period_s,
                                double slack_share);

/// Least slope over `over_s` of a rising trace where it passes zero, part of the usual slope there:
/// 1 without a kink.
[[nodiscard]] double slope_at_zero(const Waves& waves, double over_s);

} // namespace yokedock::spice
