// SPDX-License-Identifier: MIT
#include "host/analysis/polynomial.hpp"
#include <algorithm>
#include <cassert>

namespace yokedock::analysis {

void legendre(double x, std::size_t degree, double* out) {
    out[0] = 1;
    if (degree == 0) {
        return;
    }
    out[1] = x;
    for (std::size_t k = 1; k < degree; ++k) {
        const auto n = static_cast<double>(k);
        out[k + 1] = ((2 * n + 1) * x * out[k] - n * out[k - 1]) / (n + 1);
    }
}

ValueAndSlope legendre_sum(const double* coefficients, std::size_t count, double x) {
    ValueAndSlope sum{0, 0};
    double p = 1;
    double before = 0;
    double d = 0; // P'_{k+1} = P'_{k-1} + (2k + 1) P_k
    double d_before = 0;
    for (std::size_t k = 0; k < count; ++k) {
        sum.value += coefficients[k] * p;
        sum.slope += coefficients[k] * d;
        const auto n = static_cast<double>(k);
        const double next = ((2 * n + 1) * x * p - n * before) / (n + 1);
        const double d_next = d_before + (2 * n + 1) * p;
        before = p;
        p = next;
        d_before = d;
        d = d_next;
    }
    return sum;
}

double PolynomialFit::value(double x) const {
    return legendre_sum(fit.coefficients.data(), fit.coefficients.size(), unit(x)).value;
}

double PolynomialFit::slope(double x) const {
    return legendre_sum(fit.coefficients.data(), fit.coefficients.size(), unit(x)).slope * 2 /
           (end - begin);
}

std::vector<double> PolynomialFit::monomial() const {
    // Long double: the change of basis cancels leading digits when the span does not include zero.
    using Wide = long double;
    const std::size_t count = fit.coefficients.size();
    const Wide scale = 2 / (static_cast<Wide>(end) - static_cast<Wide>(begin));
    const Wide shift = -(static_cast<Wide>(begin) + static_cast<Wide>(end)) /
                       (static_cast<Wide>(end) - static_cast<Wide>(begin));
    std::vector<Wide> before(count, 0);
    std::vector<Wide> p(count, 0);
    std::vector<Wide> sum(count, 0);
    p[0] = 1;
    for (std::size_t k = 0; k < count; ++k) {
        for (std::size_t i = 0; i < count; ++i) {
            sum[i] += static_cast<Wide>(fit.coefficients[k]) * p[i];
        }
        const auto n = static_cast<Wide>(k);
        std::vector<Wide> next(count, 0);
        for (std::size_t i = 0; i < count; ++i) {
            const Wide raised = shift * p[i] + (i > 0 ? scale * p[i - 1] : 0);
            next[i] = ((2 * n + 1) * raised - n * before[i]) / (n + 1);
        }
        before = p;
        p = next;
    }
    return {sum.begin(), sum.end()};
}

PolynomialFit fit_polynomial(const std::vector<double>& x, const std::vector<double>& y,
                             std::size_t degree, const std::vector<double>& weights) {
    assert(x.size() == y.size());
    PolynomialFit result;
    if (x.size() <= degree) {
        return result;
    }
    const auto [low, high] = std::minmax_element(x.begin(), x.end());
    result.begin = *low;
    result.end = *high > *low ? *high : *low + 1;
    Matrix design(x.size(), degree + 1);
    for (std::size_t i = 0; i < x.size(); ++i) {
        legendre(result.unit(x[i]), degree, design.row(i));
    }
    result.fit = least_squares(design, y, weights);
    return result;
}

} // namespace yokedock::analysis
