// SPDX-License-Identifier: MIT
// Nonlinear least squares in which some parameters are known beforehand with an uncertainty
// (Levenberg-Marquardt; each step a Householder solution, so no squared condition number).
#pragma once
#include "host/analysis/least_squares.hpp"
#include <functional>
#include <limits>

namespace yokedock::analysis {

struct FitParameter {
    double start = 0; ///< where the search begins; when it is known beforehand, what it is known as
    double known_u = std::numeric_limits<double>::infinity(); ///< of that; 0: held there
    double low = -std::numeric_limits<double>::infinity();
    double high = std::numeric_limits<double>::infinity();
    double most_step = std::numeric_limits<double>::infinity(); ///< of one iteration
};

/// Fills the model's values and their derivatives (points by parameters) at p.
using FitModel = std::function<void(const std::vector<double>& p, std::vector<double>& value,
                                    Matrix& derivative)>;

struct PriorFit {
    bool ok = false;           ///< false: parameters not independent, or values not finite
    std::vector<double> p;     ///< as many as given
    std::vector<bool> free;    ///< false: held, or at a bound
    Matrix covariance;         ///< of p, with what was known beforehand; 0 for those not free
    Matrix derivative;         ///< of the model at p
    std::vector<double> value; ///< of the model at p
    double rss = 0;            ///< of the points alone
    double chi2 = 0;           ///< rss / sd^2 and the parameters known beforehand
    std::size_t iterations = 0;
};

/// Minimises sum((y - model)^2) / sd^2 + sum((p - start)^2 / known_u^2). begin: where to begin
/// instead of at the starts; empty: there.
[[nodiscard]] PriorFit fit_with_priors(const FitModel& model, const std::vector<double>& y,
                                       double sd, const std::vector<FitParameter>& parameters,
                                       const std::vector<double>& begin = {});

} // namespace yokedock::analysis
