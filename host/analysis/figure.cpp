// SPDX-License-Identifier: MIT
#include "host/analysis/figure.hpp"
#include <algorithm>
#include <cmath>
#include <limits>

namespace yokedock::analysis {

Figure measured(std::string name, std::string text, std::string unit, double value, double u,
                std::size_t count, std::string method, std::string where) {
    return {std::move(name), std::move(text),   std::move(unit),         value, u,
            count,           std::move(method), FigureStatus::kMeasured, {},    std::move(where)};
}

Figure not_measured(std::string name, std::string text, std::string unit, std::string reason) {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    return {std::move(name),
            std::move(text),
            std::move(unit),
            nan,
            nan,
            0,
            {},
            FigureStatus::kNotMeasured,
            std::move(reason),
            {}};
}

double total_u(const Figure& figure) {
    return std::hypot(figure.u, figure.u_clock);
}

double difference_u(const Figure& before, const Figure& after) {
    const double own_before = before.u * before.u - before.u_scale * before.u_scale;
    const double own_after = after.u * after.u - after.u_scale * after.u_scale;
    const double common = after.u_scale - before.u_scale;
    return std::sqrt(std::max(0.0, own_before) + std::max(0.0, own_after) + common * common);
}

const Figure* find_figure(const FigureSet& figures, const std::string& name) {
    const auto found = std::find_if(figures.begin(), figures.end(),
                                    [&](const Figure& figure) { return figure.name == name; });
    return found == figures.end() ? nullptr : &*found;
}

} // namespace yokedock::analysis
