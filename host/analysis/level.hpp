// SPDX-License-Identifier: MIT
// Slow channels: mean level, and ripple at the mains and at twice the mains.
#pragma once
#include "host/analysis/retrace.hpp"
#include "host/capture/observation.hpp"

namespace yokedock::analysis {

struct Level {
    bool ok = false;
    std::string problem;
    Estimate mean;           ///< u without gain and zero
    double mains_hz = 0;     ///< the one that fits better; 0 when neither was tried
    bool mains_seen = false; ///< a component stands out by more than 5 u
    bool ripple_ok = false;
    Estimate ripple_twice; ///< peak to peak of the component at twice the mains
    Estimate ripple_mains; ///< peak to peak of the component at the mains
    double minimum = 0;    ///< of the samples
    double maximum = 0;
    std::size_t count = 0;
};

/// mains_hz 0: both 50 and 60 are tried. Sines are fitted at their exact frequency, samples need
/// not be equidistant.
[[nodiscard]] Level measure_level(const capture::Samples& samples, double mains_hz = 0);

} // namespace yokedock::analysis
