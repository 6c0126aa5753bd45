// SPDX-License-Identifier: MIT
// Functions a ramp is fitted with: Legendre polynomials, or cubic splines where a polynomial is not
// enough.
#pragma once
#include <cstddef>

namespace yokedock::analysis {

/// Over x in [-1, 1] (a little beyond is allowed and extrapolates).
struct Basis {
    std::size_t degree = 5; ///< of the polynomial; ignored for splines
    std::size_t intervals =
        0; ///< 0: Legendre P0..P_degree; else cubic B-splines on this many equal intervals

    [[nodiscard]] std::size_t size() const { return intervals == 0 ? degree + 1 : intervals + 3; }
    /// All functions at x into out[0 .. size).
    void evaluate(double x, double* out) const;
};

} // namespace yokedock::analysis
