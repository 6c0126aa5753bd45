// SPDX-License-Identifier: MIT
// Retrace of an R-L load behind an amplifier (vertical): fast while the output drives its full
// voltage, then settling into the trace. One polynomial as in retrace.hpp, made for the half sine
// of an L-C circuit, would end where the current slows; here the whole period is fitted with pieces
// whose joints the data choose, and retrace lies between the extremes of that curve.
#pragma once
#include "host/analysis/retrace.hpp"

namespace yokedock::analysis {

/// The retrace of either fit: the one polynomial where it explains the samples as well, coefficient
/// for coefficient, as the pieces do (it then has less to choose and so less doubt); else the
/// pieces. segments must be of this fold and without a problem.
[[nodiscard]] Retrace measure_settling_retrace(const Fold& fold, const Segments& segments);

} // namespace yokedock::analysis
