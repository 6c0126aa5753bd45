// SPDX-License-Identifier: MIT
// A figure: one number a technician acts on, with what is needed to trust it.
#pragma once
#include <cstddef>
#include <string>
#include <vector>

namespace yokedock::analysis {

enum class FigureStatus {
    kMeasured,
    kNotMeasured, ///< `reason` says why; value and uncertainty are NaN, never 0
    kOutOfRange,  ///< the input was at the end of its range: value is a bound, `reason` says which
};

/// value and u are in `unit`; u is the standard uncertainty (k = 1) with everything the bench knows
/// of except the scale of its clock, which is stated apart in u_clock (a crystal's error is common
/// to every timing of the same bench and would drown what was measured). total_u() is for
/// comparison with an absolute value.
struct Figure {
    std::string name; ///< snake_case, ends in its unit where it has one: "v_retrace_us"
    std::string text; ///< for the table: "vertical retrace, 10 to 90 %"
    std::string unit;
    double value;
    double u;
    std::size_t count;  ///< samples or edges used
    std::string method; ///< one phrase: "least squares over edges"
    FigureStatus status;
    std::string reason; ///< why not measured or out of range; else empty
    std::string where;  ///< place on the picture ("top", "left"), or empty
    double u_clock = 0; ///< standard uncertainty from the clock's scale, not in u
    double u_scale =
        0; ///< the part of u from gain and zero: the same in every measurement by this bench
};

/// Figures in the order of the table. Names are unique.
using FigureSet = std::vector<Figure>;

[[nodiscard]] Figure measured(std::string name, std::string text, std::string unit, double value,
                              double u, std::size_t count, std::string method,
                              std::string where = {});
[[nodiscard]] Figure not_measured(std::string name, std::string text, std::string unit,
                                  std::string reason);
/// Standard uncertainty against an absolute value: u and u_clock together.
[[nodiscard]] double total_u(const Figure& figure);
/// Standard uncertainty of a difference of two figures of one bench: what is common drops out.
[[nodiscard]] double difference_u(const Figure& before, const Figure& after);
/// nullptr when the set has no such figure.
[[nodiscard]] const Figure* find_figure(const FigureSet& figures, const std::string& name);

} // namespace yokedock::analysis
