// SPDX-License-Identifier: MIT
// Polynomial least squares in Legendre polynomials over the data's own span: well conditioned at
// any scale.
#pragma once
#include "host/analysis/least_squares.hpp"
#include <cstddef>
#include <vector>

namespace yokedock::analysis {

/// P0(x) .. P_degree(x) into out[0 .. degree].
void legendre(double x, std::size_t degree, double* out);

/// sum of c_k P_k(x) and its derivative.
struct ValueAndSlope {
    double value;
    double slope;
};
[[nodiscard]] ValueAndSlope legendre_sum(const double* coefficients, std::size_t count, double x);

/// A polynomial over [begin, end]: coefficients of P_k(u), u = (2 x - begin - end) / (end - begin).
struct PolynomialFit {
    double begin = -1;
    double end = 1;
    LinearFit
        fit; ///< fit.coefficients are the Legendre coefficients; fit.ok says whether it worked

    [[nodiscard]] double unit(double x) const { return (2 * x - begin - end) / (end - begin); }
    [[nodiscard]] double value(double x) const;
    [[nodiscard]] double slope(double x) const; ///< per unit of x
    /// Coefficients of 1, x, x^2, ...
    [[nodiscard]] std::vector<double> monomial() const;
};

/// Needs more than `degree` distinct x; otherwise fit.ok is false.
[[nodiscard]] PolynomialFit fit_polynomial(const std::vector<double>& x,
                                           const std::vector<double>& y, std::size_t degree,
                                           const std::vector<double>& weights = {});

} // namespace yokedock::analysis
