// SPDX-License-Identifier: MIT
// Linear least squares by Householder reflections: no normal equations, so no squared condition
// number.
#pragma once
#include <cstddef>
#include <vector>

namespace yokedock::analysis {

/// Dense, row by row.
class Matrix {
  public:
    Matrix() = default;
    Matrix(std::size_t rows, std::size_t columns)
        : rows_(rows), columns_(columns), cells_(rows * columns, 0.0) {}

    [[nodiscard]] std::size_t rows() const { return rows_; }
    [[nodiscard]] std::size_t columns() const { return columns_; }
    [[nodiscard]] double* row(std::size_t i) { return cells_.data() + i * columns_; }
    [[nodiscard]] const double* row(std::size_t i) const { return cells_.data() + i * columns_; }
    [[nodiscard]] double& operator()(std::size_t i, std::size_t j) {
        return cells_[i * columns_ + j];
    }
    [[nodiscard]] double operator()(std::size_t i, std::size_t j) const {
        return cells_[i * columns_ + j];
    }

  private:
    std::size_t rows_ = 0;
    std::size_t columns_ = 0;
    std::vector<double> cells_;
};

struct LinearFit {
    bool ok = false; ///< false: fewer rows than columns, or columns not independent
    std::vector<double> coefficients;
    Matrix inverse_normal; ///< (X' W X)^-1; covariance once multiplied by the noise variance
    double rss = 0;        ///< weighted sum of squared residuals
    std::size_t degrees_of_freedom = 0;

    /// Residual standard deviation for unit weight; 0 without degrees of freedom.
    [[nodiscard]] double residual_sd() const;
};

/// Minimises sum of weight * (y - X c)^2. weights empty: all 1. Sizes must agree (asserted).
[[nodiscard]] LinearFit least_squares(const Matrix& design, const std::vector<double>& y,
                                      const std::vector<double>& weights = {});

/// Lower triangle L with L L' = m; pivots that are not positive give a zero column.
[[nodiscard]] Matrix cholesky(const Matrix& m);

/// g' m h
[[nodiscard]] double quadratic_form(const std::vector<double>& g, const Matrix& m,
                                    const std::vector<double>& h);

} // namespace yokedock::analysis
