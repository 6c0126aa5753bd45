// SPDX-License-Identifier: MIT
// Uncertainty through a function that has no handy derivative (largest deviation, crossing time).
#pragma once
#include "host/analysis/least_squares.hpp"
#include <functional>

namespace yokedock::analysis {

using Function = std::function<std::vector<double>(const std::vector<double>&)>;

struct Propagated {
    std::vector<double> value;                 ///< f(c)
    std::vector<std::vector<double>> gradient; ///< per output, by the parameters
    std::vector<double>
        bias; ///< half the sum of second differences: what noise alone adds on average
};

/// Central differences along the axes of the covariance, one standard deviation wide, so that kinks
/// of the function (a maximum that changes place) are seen as noise would see them.
[[nodiscard]] Propagated propagate(const Function& f, const std::vector<double>& c,
                                   const Matrix& covariance);

} // namespace yokedock::analysis
