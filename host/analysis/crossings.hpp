// SPDX-License-Identifier: MIT
// Retrace edges read off the ramp itself, where no comparator watched it (an oscilloscope file).
#pragma once
#include "host/capture/observation.hpp"
#include <vector>

namespace yokedock::analysis {

/// Times at which the faster of the ramp's two slopes passes the middle, ascending, input lag taken
/// off. Empty when there is no ramp, or with fewer than 8 samples per period: one sample per line
/// cannot show a line ramp this way.
[[nodiscard]] std::vector<double> retrace_crossings(const capture::Samples& samples);

} // namespace yokedock::analysis
