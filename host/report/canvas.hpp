// SPDX-License-Identifier: MIT
// A picture of characters with axes. Inside the module only.
#pragma once
#include <cmath>
#include <string>
#include <vector>

namespace yokedock::report {

inline constexpr std::size_t kPlotColumns = 76;
inline constexpr std::size_t kRampRows = 14;
inline constexpr std::size_t kDeviationRows = 9;

struct PlotRange {
    double low = INFINITY;
    double high = -INFINITY;
    void take(double v);
    [[nodiscard]] bool usable() const { return low <= high; }
    [[nodiscard]] double span() const { return high - low; }
};

/// Of all finite values; a single one stands in the middle of a range round it.
[[nodiscard]] PlotRange plot_range(const std::vector<double>& values);

/// A field of characters with data coordinates. Both ranges usable.
class Canvas {
  public:
    Canvas(PlotRange x, PlotRange y, std::size_t rows);

    /// Over blanks; a '*' over anything: a sample hides the line or axis under it, never the other
    /// way round. Values that are not finite are left out.
    void put(double x, double y, char mark);
    void horizontal(double y, char mark);
    /// Rows with numbers at top, middle and bottom.
    [[nodiscard]] std::string text() const;
    /// The axis below, with its ends and the label.
    [[nodiscard]] std::string x_axis(const std::string& label) const;

  private:
    [[nodiscard]] std::size_t column_of(double x) const;
    [[nodiscard]] std::size_t row_of(double y) const;

    PlotRange x_;
    PlotRange y_;
    std::vector<std::string> rows_;
};

} // namespace yokedock::report
