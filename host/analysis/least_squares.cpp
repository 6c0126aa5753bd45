// SPDX-License-Identifier: MIT
#include "host/analysis/least_squares.hpp"
#include <cassert>
#include <cmath>

namespace yokedock::analysis {
namespace {

// Columns are kept contiguous here: reflections run down them.
struct Work {
    std::size_t rows;
    std::size_t columns;
    std::vector<double> cells;
    std::vector<double> y;
    [[nodiscard]] double* column(std::size_t j) { return cells.data() + j * rows; }
};

Work weighted(const Matrix& design, const std::vector<double>& y,
              const std::vector<double>& weights) {
    Work w{design.rows(), design.columns(), std::vector<double>(design.rows() * design.columns()),
           y};
    for (std::size_t i = 0; i < w.rows; ++i) {
        const double root = weights.empty() ? 1.0 : std::sqrt(weights[i]);
        w.y[i] *= root;
        const double* source = design.row(i);
        for (std::size_t j = 0; j < w.columns; ++j) {
            w.cells[j * w.rows + i] = source[j] * root;
        }
    }
    return w;
}

void reflect(const double* v, double scale, double* target, std::size_t from, std::size_t rows) {
    double dot = 0;
    for (std::size_t i = from; i < rows; ++i) {
        dot += v[i] * target[i];
    }
    dot *= scale;
    for (std::size_t i = from; i < rows; ++i) {
        target[i] -= dot * v[i];
    }
}

// Turns the work columns into R (upper triangle; diagonal returned) and y into Q'y.
bool triangularise(Work& w, std::vector<double>& diagonal) {
    diagonal.resize(w.columns);
    for (std::size_t k = 0; k < w.columns; ++k) {
        double* v = w.column(k);
        double norm2 = 0;
        double above2 = 0;
        for (std::size_t i = k; i < w.rows; ++i) {
            norm2 += v[i] * v[i];
        }
        for (std::size_t i = 0; i < k; ++i) {
            above2 += v[i] * v[i];
        }
        if (!(norm2 > 1e-26 * (norm2 + above2))) { // dependent to 13 digits (also catches NaN)
            return false;
        }
        const double alpha = v[k] > 0 ? -std::sqrt(norm2) : std::sqrt(norm2);
        const double scale = 1.0 / (norm2 - alpha * v[k]);
        v[k] -= alpha;
        for (std::size_t j = k + 1; j < w.columns; ++j) {
            reflect(v, scale, w.column(j), k, w.rows);
        }
        reflect(v, scale, w.y.data(), k, w.rows);
        diagonal[k] = alpha;
    }
    return true;
}

Matrix inverse_of_triangle(Work& w, const std::vector<double>& diagonal) {
    Matrix inverse(w.columns, w.columns);
    for (std::size_t j = 0; j < w.columns; ++j) {
        inverse(j, j) = 1.0 / diagonal[j];
        for (std::size_t i = j; i-- > 0;) {
            double sum = 0;
            for (std::size_t k = i + 1; k <= j; ++k) {
                sum += w.column(k)[i] * inverse(k, j);
            }
            inverse(i, j) = -sum / diagonal[i];
        }
    }
    return inverse;
}

} // namespace

double LinearFit::residual_sd() const {
    return degrees_of_freedom == 0 ? 0.0 : std::sqrt(rss / static_cast<double>(degrees_of_freedom));
}

LinearFit least_squares(const Matrix& design, const std::vector<double>& y,
                        const std::vector<double>& weights) {
    assert(design.rows() == y.size() && (weights.empty() || weights.size() == y.size()));
    LinearFit fit;
    const std::size_t p = design.columns();
    if (design.rows() < p || p == 0) {
        return fit;
    }
    Work w = weighted(design, y, weights);
    std::vector<double> diagonal;
    if (!triangularise(w, diagonal)) {
        return fit;
    }
    const Matrix inverse = inverse_of_triangle(w, diagonal);
    fit.coefficients.resize(p);
    for (std::size_t i = p; i-- > 0;) { // back substitution: more exact than the explicit inverse
        double sum = w.y[i];
        for (std::size_t k = i + 1; k < p; ++k) {
            sum -= w.column(k)[i] * fit.coefficients[k];
        }
        fit.coefficients[i] = sum / diagonal[i];
    }
    fit.inverse_normal = Matrix(p, p);
    for (std::size_t i = 0; i < p; ++i) {
        for (std::size_t j = 0; j <= i; ++j) {
            double sum = 0;
            for (std::size_t k = i; k < p; ++k) {
                sum += inverse(i, k) * inverse(j, k);
            }
            fit.inverse_normal(i, j) = fit.inverse_normal(j, i) = sum;
        }
    }
    for (std::size_t i = p; i < w.rows; ++i) {
        fit.rss += w.y[i] * w.y[i];
    }
    fit.degrees_of_freedom = w.rows - p;
    fit.ok = true;
    return fit;
}

Matrix cholesky(const Matrix& m) {
    const std::size_t n = m.rows();
    Matrix l(n, n);
    for (std::size_t j = 0; j < n; ++j) {
        double pivot = m(j, j);
        for (std::size_t k = 0; k < j; ++k) {
            pivot -= l(j, k) * l(j, k);
        }
        if (!(pivot > 0)) {
            continue;
        }
        l(j, j) = std::sqrt(pivot);
        for (std::size_t i = j + 1; i < n; ++i) {
            double sum = m(i, j);
            for (std::size_t k = 0; k < j; ++k) {
                sum -= l(i, k) * l(j, k);
            }
            l(i, j) = sum / l(j, j);
        }
    }
    return l;
}

double quadratic_form(const std::vector<double>& g, const Matrix& m, const std::vector<double>& h) {
    double sum = 0;
    for (std::size_t i = 0; i < g.size(); ++i) {
        for (std::size_t j = 0; j < h.size(); ++j) {
            sum += g[i] * m(i, j) * h[j];
        }
    }
    return sum;
}

} // namespace yokedock::analysis
