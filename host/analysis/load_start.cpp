// SPDX-License-Identifier: MIT
#include "host/analysis/load_start.hpp"
#include "host/analysis/load_curve.hpp"
#include <algorithm>
#include <cmath>
#include <numeric>

namespace yokedock::analysis {

LinearSearch::LinearSearch(const std::vector<double>& t, const std::vector<double>& y,
                           const std::vector<double>& taus_s, double lag_s, double base_weight)
    : products_(taus_s.size() + 2, taus_s.size() + 2) {
    std::vector<std::vector<double>> columns{std::vector<double>(y.size(), 1.0)};
    for (const double tau : taus_s) {
        auto& column = columns.emplace_back();
        for (const double x : t) {
            column.push_back(lagged_rise(x, tau, lag_s));
        }
    }
    columns.push_back(y);
    for (std::size_t a = 0; a < columns.size(); ++a) {
        for (std::size_t b = 0; b <= a; ++b) {
            products_(a, b) = products_(b, a) =
                std::inner_product(columns[a].begin(), columns[a].end(), columns[b].begin(), 0.0);
        }
    }
    products_(0, 0) += base_weight * base_weight;
}

LinearStart LinearSearch::with(const std::vector<std::size_t>& rises) const {
    std::vector<std::size_t> use{0};
    for (const std::size_t k : rises) {
        use.push_back(k + 1);
    }
    const std::size_t y = products_.rows() - 1;
    Matrix square(use.size(), use.size());
    std::vector<double> right(use.size());
    for (std::size_t a = 0; a < use.size(); ++a) {
        for (std::size_t b = 0; b < use.size(); ++b) {
            square(a, b) = products_(use[a], use[b]);
        }
        right[a] = products_(use[a], y);
    }
    const LinearFit fit = least_squares(square, right);
    LinearStart start;
    if (fit.ok) {
        const double explained =
            std::inner_product(right.begin(), right.end(), fit.coefficients.begin(), 0.0);
        start.rss = std::max(0.0, products_(y, y) - explained);
        start.base = fit.coefficients[0];
        start.amplitude.assign(fit.coefficients.begin() + 1, fit.coefficients.end());
    }
    return start;
}

std::vector<double> log_grid(double from, double to, int count) {
    std::vector<double> grid;
    for (int k = 0; k < count; ++k) {
        grid.push_back(from * std::pow(to / from, static_cast<double>(k) / (count - 1)));
    }
    return grid;
}

} // namespace yokedock::analysis
