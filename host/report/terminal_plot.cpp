// SPDX-License-Identifier: MIT
#include "host/report/ramp_plot.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

constexpr std::size_t kPlotColumns = 76;
constexpr std::size_t kRampRows = 14;
constexpr std::size_t kDeviationRows = 9;
constexpr int kLabelColumns = 10;

struct Range {
    double low = INFINITY;
    double high = -INFINITY;
    void take(double v) {
        if (std::isfinite(v)) {
            low = std::min(low, v);
            high = std::max(high, v);
        }
    }
    [[nodiscard]] bool usable() const { return low <= high; }
    [[nodiscard]] double span() const { return high - low; }
};

Range range_of(const std::vector<double>& values) {
    Range range;
    for (const double v : values) {
        range.take(v);
    }
    if (range.usable() && range.span() == 0) { // a flat line stands in the middle
        const double half = range.low == 0 ? 1 : std::abs(range.low) / 2;
        range = {range.low - half, range.high + half};
    }
    return range;
}

/// A field of characters with data coordinates.
class Canvas {
  public:
    Canvas(Range x, Range y, std::size_t rows)
        : x_(x), y_(y), rows_(rows, std::string(kPlotColumns, ' ')) {}

    void put(double x, double y, char mark) {
        if (!std::isfinite(x) || !std::isfinite(y)) {
            return;
        }
        char& cell = rows_[row_of(y)][column_of(x)];
        // A sample hides the line or axis under it, never the other way round.
        if (cell == ' ' || mark == '*') {
            cell = mark;
        }
    }
    void horizontal(double y, char mark) {
        if (y >= y_.low && y <= y_.high) {
            for (char& cell : rows_[row_of(y)]) {
                cell = cell == ' ' ? mark : cell;
            }
        }
    }
    [[nodiscard]] std::string text() const {
        std::string out;
        for (std::size_t i = 0; i < rows_.size(); ++i) {
            const bool labelled = i == 0 || i + 1 == rows_.size() || i == rows_.size() / 2;
            const double y = y_.high - y_.span() * static_cast<double>(i) /
                                           static_cast<double>(rows_.size() - 1);
            const double shown = std::abs(y) < 1e-9 * y_.span() ? 0 : y;
            std::string line =
                fmt::format("{:>{}} |{}", labelled ? fmt::format("{:.4g}", shown) : "",
                            kLabelColumns, rows_[i]);
            line.erase(line.find_last_not_of(' ') + 1);
            out += line + '\n';
        }
        return out;
    }

  private:
    [[nodiscard]] static std::size_t place(double part, std::size_t cells) {
        const double at = std::round(part * static_cast<double>(cells - 1));
        return static_cast<std::size_t>(std::clamp(at, 0.0, static_cast<double>(cells - 1)));
    }
    [[nodiscard]] std::size_t column_of(double x) const {
        return place((x - x_.low) / x_.span(), kPlotColumns);
    }
    [[nodiscard]] std::size_t row_of(double y) const {
        return place((y_.high - y) / y_.span(), rows_.size());
    }

    Range x_;
    Range y_;
    std::vector<std::string> rows_;
};

std::string x_axis(Range x, const std::string& label) {
    std::string out =
        std::string(kLabelColumns + 1, ' ') + '+' + std::string(kPlotColumns, '-') + '\n';
    const std::string left = fmt::format("{:.4g}", x.low);
    const std::string right = fmt::format("{:.4g}", x.high);
    const std::string middle =
        printable(label).substr(0, kPlotColumns - 4 - left.size() - right.size());
    const std::size_t room = kPlotColumns - left.size() - right.size() - middle.size();
    out += std::string(kLabelColumns + 2, ' ') + left + std::string(room / 2, ' ') + middle +
           std::string(room - room / 2, ' ') + right + '\n';
    return out;
}

std::vector<double> deviation_pct(const RampPlot& plot) {
    std::vector<double> out(plot.x.size(), NAN);
    for (std::size_t i = 0; i < plot.x.size(); ++i) {
        if (plot.x[i] >= plot.window_from && plot.x[i] <= plot.window_to) {
            out[i] = 100 * (plot.y[i] - plot.line[i]) / plot.peak_to_peak;
        }
    }
    return out;
}

} // namespace

std::string terminal_plot(const RampPlot& plot) {
    std::string out = printable(plot.title).substr(0, kColumns) + '\n';
    const Range x = range_of(plot.x);
    Range y = range_of(plot.y);
    if (!x.usable() || !y.usable()) {
        return out + "  nothing to draw\n";
    }
    const bool fitted = plot.line.size() == plot.x.size() && plot.peak_to_peak > 0;
    Canvas ramp(x, y, kRampRows);
    for (std::size_t i = 0; i < plot.x.size(); ++i) {
        ramp.put(plot.x[i], plot.y[i], '*');
    }
    for (std::size_t i = 0; fitted && i < plot.x.size(); ++i) {
        if (plot.x[i] >= plot.window_from && plot.x[i] <= plot.window_to) {
            ramp.put(plot.x[i], std::clamp(plot.line[i], y.low, y.high), '.');
        }
    }
    ramp.horizontal(0, '-');
    out += "  " + printable(plot.y_label).substr(0, kColumns - 2) + '\n' + ramp.text() +
           x_axis(x, plot.x_label);
    if (!fitted) {
        return out;
    }
    const std::vector<double> deviation = deviation_pct(plot);
    Range span = range_of(deviation);
    if (!span.usable()) {
        return out;
    }
    span.take(0);
    Canvas below(x, span, kDeviationRows);
    for (std::size_t i = 0; i < plot.x.size(); ++i) {
        below.put(plot.x[i], deviation[i], '*');
    }
    below.horizontal(0, '-');
    return out + "  distance from the least-squares line, % of peak to peak in the window\n" +
           below.text() + x_axis(x, plot.x_label);
}

} // namespace yokedock::report
