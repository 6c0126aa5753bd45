// SPDX-License-Identifier: MIT
// Mains in a ramp: position that moves with the mains (current added) and size that breathes with
// it.
#pragma once
#include "host/analysis/ramp_fit.hpp"
#include <string>
#include <vector>

namespace yokedock::analysis {

struct Hum {
    bool ok = false;
    std::string problem; ///< when not ok
    double mains_hz = 0;
    double beat_hz = 0;      ///< slowest beat of mains or twice mains with the period's rate
    double position_pct = 0; ///< peak to peak of the added current, % of the ramp's p-p
    double position_u_pct = 0;
    double size_pct = 0; ///< peak to peak of the size's change, %
    double size_u_pct = 0;
    bool significant = false; ///< stands out of the noise by more than 4 standard uncertainties
    std::size_t count = 0;
    std::vector<double>
        c; ///< per harmonic (mains, twice mains) used: cos, sin, ramp * cos, ramp * sin
    std::vector<double> frequency_hz;
};

/// What mains at mains_hz leaves in the residuals of a ramp fit. A component whose beat with the
/// period does not complete a turn and a half while samples were taken cannot be told from the
/// ramp's shape: then not ok.
[[nodiscard]] Hum measure_hum(const Fold& fold, const RampFit& fit, double mains_hz);

/// Takes the fitted mains off the samples of the whole period and rebuilds the cells.
void remove_hum(Fold& fold, const RampFit& fit, const Hum& hum);

} // namespace yokedock::analysis
