// SPDX-License-Identifier: MIT
// A retrace pulse of voltage in a folded waveform: vertical output node, line output node.
#pragma once
#include "host/analysis/retrace.hpp"

namespace yokedock::analysis {

struct Pulse {
    bool ok = false;
    std::string problem;
    Estimate peak;       ///< highest level, from a parabola through the places round it
    Estimate lowest;     ///< lowest level of the period
    Estimate base;       ///< median level: what the pulse stands on
    Estimate width_50_s; ///< between the passages through base + 50 % of (peak - base)
    Estimate width_10_s; ///< same at 10 %; u is NaN when the base slopes through that level
    std::size_t count = 0;
};

/// One positive pulse per period.
[[nodiscard]] Pulse measure_pulse(const Fold& fold);

} // namespace yokedock::analysis
