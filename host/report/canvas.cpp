// SPDX-License-Identifier: MIT
#include "host/report/canvas.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

constexpr int kLabelColumns = 10;

std::size_t place(double part, std::size_t cells) {
    const double at = std::round(part * static_cast<double>(cells - 1));
    return static_cast<std::size_t>(std::clamp(at, 0.0, static_cast<double>(cells - 1)));
}

} // namespace

void PlotRange::take(double v) {
    if (std::isfinite(v)) {
        low = std::min(low, v);
        high = std::max(high, v);
    }
}

PlotRange plot_range(const std::vector<double>& values) {
    PlotRange range;
    for (const double v : values) {
        range.take(v);
    }
    if (range.usable() && range.span() == 0) { // a flat line stands in the middle
        const double half = range.low == 0 ? 1 : std::abs(range.low) / 2;
        range = {range.low - half, range.high + half};
    }
    return range;
}

Canvas::Canvas(PlotRange x, PlotRange y, std::size_t rows)
    : x_(x), y_(y), rows_(rows, std::string(kPlotColumns, ' ')) {}

void Canvas::put(double x, double y, char mark) {
    if (!std::isfinite(x) || !std::isfinite(y)) {
        return;
    }
    char& cell = rows_[row_of(y)][column_of(x)];
    if (cell == ' ' || mark == '*') {
        cell = mark;
    }
}

void Canvas::horizontal(double y, char mark) {
    if (y >= y_.low && y <= y_.high) {
        for (char& cell : rows_[row_of(y)]) {
            cell = cell == ' ' ? mark : cell;
        }
    }
}

std::string Canvas::text() const {
    std::string out;
    for (std::size_t i = 0; i < rows_.size(); ++i) {
        const bool labelled = i == 0 || i + 1 == rows_.size() || i == rows_.size() / 2;
        const double y =
            y_.high - y_.span() * static_cast<double>(i) / static_cast<double>(rows_.size() - 1);
        const double shown = std::abs(y) < 1e-9 * y_.span() ? 0 : y;
        std::string line = fmt::format("{:>{}} |{}", labelled ? fmt::format("{:.4g}", shown) : "",
                                       kLabelColumns, rows_[i]);
        line.erase(line.find_last_not_of(' ') + 1);
        out += line + '\n';
    }
    return out;
}

std::string Canvas::x_axis(const std::string& label) const {
    std::string out =
        std::string(kLabelColumns + 1, ' ') + '+' + std::string(kPlotColumns, '-') + '\n';
    const std::string left = fmt::format("{:.4g}", x_.low);
    const std::string right = fmt::format("{:.4g}", x_.high);
    const std::string middle =
        printable(label).substr(0, kPlotColumns - 4 - left.size() - right.size());
    const std::size_t room = kPlotColumns - left.size() - right.size() - middle.size();
    out += std::string(kLabelColumns + 2, ' ') + left + std::string(room / 2, ' ') + middle +
           std::string(room - room / 2, ' ') + right + '\n';
    return out;
}

std::size_t Canvas::column_of(double x) const {
    return place((x - x_.low) / x_.span(), kPlotColumns);
}

std::size_t Canvas::row_of(double y) const {
    return place((y_.high - y) / y_.span(), rows_.size());
}

} // namespace yokedock::report
