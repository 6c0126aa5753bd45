// SPDX-License-Identifier: MIT
#pragma once
#include "host/analysis/ramp.hpp"

namespace yokedock::analysis {

struct Crossover {
    bool ok = false;
    std::string problem;
    Estimate slope_pct; ///< slope where the current passes zero, % of the slope to either side; 100
                        ///< is none
    std::size_t count = 0;
};

/// The output stage hands over from one transistor to the other at zero current: too little bias
/// shows as a flat spot there that linearity hardly notices.
[[nodiscard]] Crossover measure_crossover(const Fold& fold, const RampFit& fit);

} // namespace yokedock::analysis
