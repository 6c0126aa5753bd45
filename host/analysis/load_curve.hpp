// SPDX-License-Identifier: MIT
// The current of coils after a voltage step, as seen through a one-pole input lag.
#pragma once
#include <cmath>

namespace yokedock::analysis {

/// (1 - exp(-t / tau)) seen through a pole of time constant lag: 0 before t = 0, 1 in the end.
/// Symmetric in tau and lag, and exact where they are equal. tau above 0, lag 0 or more, seconds.
[[nodiscard]] double lagged_rise(double t_s, double tau_s, double lag_s);

/// Its derivative by time, 1/s.
[[nodiscard]] double lagged_rise_slope(double t_s, double tau_s, double lag_s);

} // namespace yokedock::analysis
