// SPDX-License-Identifier: MIT
// Uncertainty of the rate of an oscillator that runs by itself. Each of its periods begins where
// the last one ended, so that noise of one period stays in all later edges (a random walk of
// phase): the white-noise bound of MEASUREMENTS section 1 would be far too small.
#pragma once
#include "host/analysis/period.hpp"

namespace yokedock::analysis {

/// Standard uncertainty in Hz of fit.rate_hz when the edges come from a free-running oscillator;
/// never below fit.rate_u_hz. From the scatter of single periods and the covariances of neighbours,
/// weighted as by Newey and West, "A simple, positive semi-definite, heteroskedasticity and
/// autocorrelation consistent covariance matrix", Econometrica 55 (1987) 703 (from memory). A slope
/// by least squares has 6/5 of the variance that the mean period of a random walk has. Pure timing
/// jitter is overstated. Fewer than 4 neighbouring edges: fit.rate_u_hz.
[[nodiscard]] double free_running_u_hz(const PeriodFit& fit);

} // namespace yokedock::analysis
