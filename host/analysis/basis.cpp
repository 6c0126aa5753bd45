// SPDX-License-Identifier: MIT
#include "host/analysis/basis.hpp"
#include "host/analysis/polynomial.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::analysis {

void Basis::evaluate(double x, double* out) const {
    if (intervals == 0) {
        legendre(x, degree, out);
        return;
    }
    std::fill(out, out + size(), 0.0);
    const double place = (x + 1) / 2 * static_cast<double>(intervals);
    const double last = static_cast<double>(intervals - 1);
    const double piece = std::clamp(std::floor(place), 0.0, last);
    const double u = place - piece;
    const auto k = static_cast<std::size_t>(piece);
    const double v = 1 - u;
    out[k] = v * v * v / 6; // uniform cubic B-spline, its four pieces
    out[k + 1] = (3 * u * u * u - 6 * u * u + 4) / 6;
    out[k + 2] = (3 * v * v * v - 6 * v * v + 4) / 6;
    out[k + 3] = u * u * u / 6;
}

} // namespace yokedock::analysis
