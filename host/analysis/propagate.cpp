// SPDX-License-Identifier: MIT
#include "host/analysis/propagate.hpp"
#include <cmath>

namespace yokedock::analysis {

Propagated propagate(const Function& f, const std::vector<double>& c, const Matrix& covariance) {
    const std::size_t p = c.size();
    const Matrix l = cholesky(covariance);
    Propagated result;
    result.value = f(c);
    const std::size_t m = result.value.size();
    result.bias.assign(m, 0.0);
    std::vector<std::vector<double>> along(m, std::vector<double>(p, 0.0));
    for (std::size_t j = 0; j < p; ++j) {
        std::vector<double> up = c;
        std::vector<double> down = c;
        for (std::size_t i = j; i < p; ++i) {
            up[i] += l(i, j);
            down[i] -= l(i, j);
        }
        const std::vector<double> above = f(up);
        const std::vector<double> below = f(down);
        for (std::size_t k = 0; k < m; ++k) {
            along[k][j] = (above[k] - below[k]) / 2;
            result.bias[k] += (above[k] + below[k] - 2 * result.value[k]) / 2;
        }
    }
    // gradient g with L'g = along: back substitution.
    result.gradient.assign(m, std::vector<double>(p, 0.0));
    for (std::size_t k = 0; k < m; ++k) {
        for (std::size_t j = p; j-- > 0;) {
            double sum = along[k][j];
            for (std::size_t i = j + 1; i < p; ++i) {
                sum -= l(i, j) * result.gradient[k][i];
            }
            result.gradient[k][j] = l(j, j) > 0 ? sum / l(j, j) : 0;
        }
    }
    return result;
}

} // namespace yokedock::analysis
