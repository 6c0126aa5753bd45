// SPDX-License-Identifier: MIT
#include "host/analysis/load_curve.hpp"
#include <algorithm>

namespace yokedock::analysis {

double lagged_rise_slope(double t_s, double tau_s, double lag_s) {
    if (!(t_s > 0)) {
        return 0;
    }
    if (!(lag_s > 0)) {
        return std::exp(-t_s / tau_s) / tau_s;
    }
    // (exp(-t/tau) - exp(-t/lag)) / (tau - lag), with nothing that cancels or overflows.
    const double x = t_s * std::abs(tau_s - lag_s) / (tau_s * lag_s);
    const double phi = x < 1e-8 ? 1 - x / 2 : -std::expm1(-x) / x;
    return std::exp(-t_s / std::max(tau_s, lag_s)) * t_s / (tau_s * lag_s) * phi;
}

double lagged_rise(double t_s, double tau_s, double lag_s) {
    if (!(t_s > 0)) {
        return 0;
    }
    const double slow_s = std::max(tau_s, lag_s);
    const double fast_s = std::min(tau_s, lag_s);
    return -std::expm1(-t_s / slow_s) - fast_s * lagged_rise_slope(t_s, tau_s, lag_s);
}

} // namespace yokedock::analysis
