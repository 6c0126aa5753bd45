// SPDX-License-Identifier: MIT
// Where a fit of rises may begin: many time constants tried, amplitudes by linear least squares.
// Inside of load_fit.hpp.
#pragma once
#include "host/analysis/least_squares.hpp"
#include <limits>
#include <vector>

namespace yokedock::analysis {

struct LinearStart {
    double rss = std::numeric_limits<double>::infinity(); ///< when the rises are not independent
    double base = 0;
    std::vector<double> amplitude;
};

/// Base and amplitudes for given time constants, from sums of products of the columns: normal
/// equations are good enough for a start.
class LinearSearch {
  public:
    /// Rises with these time constants and lag at times t. base_weight: how much a base of 0
    /// counts, in samples.
    LinearSearch(const std::vector<double>& t, const std::vector<double>& y,
                 const std::vector<double>& taus_s, double lag_s, double base_weight);

    /// With these of the rises, by index.
    [[nodiscard]] LinearStart with(const std::vector<std::size_t>& rises) const;

  private:
    Matrix products_; ///< ones, rises, y
};

[[nodiscard]] std::vector<double> log_grid(double from, double to, int count);

} // namespace yokedock::analysis
