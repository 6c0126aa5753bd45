// SPDX-License-Identifier: MIT
#include "host/record/profile_learn.hpp"
#include "host/record/free_rates.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>
#include <fmt/format.h>
#include <iterator>

namespace yokedock::record {
namespace {

using analysis::Figure;
using analysis::FigureSet;
using analysis::FigureStatus;

/// Figures that tell of bench, mains or room rather than of the board.
constexpr struct {
    const char* figure;
    const char* reason;
} kNotOfTheBoard[] = {
    {"v_sync_rate_hz", "it is the bench's own sync"},
    {"h_sync_rate_hz", "it is the bench's own sync"},
    {"mains_hz", "it is the mains'"},
    {"heatsink_c", "it depends on the room and on the time since switching on"},
    {"ref_v", "it is the bench's own reference"},
    {"ref_error_mv", "it is the bench's own reference"},
};

/// Tolerance of a figure of one board: the larger of a share of the value and a least width.
/// Common practice, no source: they leave room for parts of 5 to 10 %.
struct DefaultTolerance {
    const char* unit;
    double share;
    double least_vertical;
    double least_horizontal;
};
constexpr DefaultTolerance kDefaultTolerances[] = {
    {"Hz", 0.001, 0, 0},  {"A", 0.05, 0.02, 0.1}, {"V", 0.05, 0.1, 0.1},
    {"us", 0.10, 5, 0.2}, {"%", 0.10, 1, 1},      {"lines", 0, 0.05, 0.05},
};
constexpr double kOtherShare = 0.05;

/// Yes or no, and counts: a good board shows exactly this.
bool is_exact(const Figure& figure) {
    return figure.unit.empty() && figure.u == 0;
}

bool ends_in(const std::string& name, const std::string& end) {
    return name.size() >= end.size() &&
           name.compare(name.size() - end.size(), end.size(), end) == 0;
}

/// Of a lock sweep's figures; 0: it is none. An end of the range moves with the free run and with
/// the range's width.
double sweep_tolerance(const Figure& figure) {
    const double free = figure.name.rfind("h_", 0) == 0 ? kLineFreeTolerance : kFieldFreeTolerance;
    if (ends_in(figure.name, "_free_rate_hz")) {
        return free * figure.value;
    }
    if (ends_in(figure.name, "_pull_in_share_pct")) {
        return kPullInShareTolerance;
    }
    const bool hold =
        ends_in(figure.name, "_hold_below_pct") || ends_in(figure.name, "_hold_above_pct");
    return hold ? std::hypot(kHoldTolerance * figure.value, 100 * free) : 0;
}

double default_tolerance(const Figure& figure) {
    if (const double swept = sweep_tolerance(figure); swept > 0) {
        return swept;
    }
    for (const DefaultTolerance& row : kDefaultTolerances) {
        if (figure.unit == row.unit) {
            const bool horizontal = figure.name.rfind("h_", 0) == 0;
            return std::max(row.share * std::abs(figure.value),
                            horizontal ? row.least_horizontal : row.least_vertical);
        }
    }
    return kOtherShare * std::abs(figure.value);
}

struct Readings {
    std::vector<double> values;
    double mean_u = 0;
    bool exact = true;
};

/// The figure in all boards, or why not.
std::string collect(const std::vector<FigureSet>& boards, const std::string& name,
                    Readings& readings) {
    for (std::size_t i = 0; i < boards.size(); ++i) {
        const Figure* figure = analysis::find_figure(boards[i], name);
        if (figure == nullptr || figure->status != FigureStatus::kMeasured ||
            !std::isfinite(figure->value)) {
            const std::string which = boards.size() == 1 ? "" : fmt::format("record {}: ", i + 1);
            return which +
                   (figure == nullptr || figure->reason.empty() ? "not measured" : figure->reason);
        }
        const double u = analysis::total_u(*figure);
        readings.values.push_back(figure->value);
        readings.mean_u += (std::isfinite(u) ? u : 0) / static_cast<double>(boards.size());
        readings.exact &= is_exact(*figure);
    }
    return {};
}

ExpectedFigure from_one(const Figure& figure) {
    ExpectedFigure out;
    out.value = figure.value;
    out.boards = 1;
    out.basis = ExpectationBasis::kDefault;
    const double u = analysis::total_u(figure);
    out.tolerance = is_exact(figure)
                        ? 0
                        : std::hypot(default_tolerance(figure), 2 * (std::isfinite(u) ? u : 0));
    return out;
}

ExpectedFigure from_several(const Readings& readings) {
    const auto n = static_cast<double>(readings.values.size());
    // From the first value on, so that large equal values leave no rounding behind.
    double sum = 0;
    double sum2 = 0;
    for (const double value : readings.values) {
        sum += value - readings.values[0];
    }
    const double mean = readings.values[0] + sum / n;
    for (const double value : readings.values) {
        sum2 += (value - mean) * (value - mean);
    }
    const double spread = std::sqrt(sum2 / (n - 1));
    ExpectedFigure out;
    out.value = mean;
    out.boards = static_cast<int>(readings.values.size());
    out.basis = ExpectationBasis::kSpread;
    out.spread = spread;
    out.tolerance =
        std::hypot(student_t_975(readings.values.size() - 1) * spread * std::sqrt(1 + 1 / n),
                   2 * readings.mean_u);
    return out;
}

} // namespace

double student_t_975(std::size_t degrees_of_freedom) {
    assert(degrees_of_freedom > 0);
    constexpr double kTable[] = {12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306,
                                 2.262,  2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120,
                                 2.110,  2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064,
                                 2.060,  2.056, 2.052, 2.048, 2.045, 2.042};
    return kTable[std::min(degrees_of_freedom, std::size(kTable)) - 1];
}

Learned learn_expected(const std::vector<FigureSet>& boards) {
    assert(!boards.empty());
    Learned learned;
    for (const Figure& figure : boards[0]) {
        const auto foreign =
            std::find_if(std::begin(kNotOfTheBoard), std::end(kNotOfTheBoard),
                         [&](const auto& row) { return figure.name == row.figure; });
        if (foreign != std::end(kNotOfTheBoard)) {
            learned.left_out.push_back({figure.name, foreign->reason});
            continue;
        }
        Readings readings;
        if (const std::string problem = collect(boards, figure.name, readings); !problem.empty()) {
            learned.left_out.push_back({figure.name, problem});
            continue;
        }
        const bool same = std::all_of(readings.values.begin(), readings.values.end(),
                                      [&](double v) { return v == readings.values[0]; });
        const bool count = figure.name.find("_edges") != std::string::npos;
        if (readings.exact && (!same || (count && figure.value != 0))) {
            learned.left_out.push_back(
                {figure.name, same ? "a good board has none, these have"
                                   : "the records do not agree, and it has no uncertainty"});
            continue;
        }
        learned.expected[figure.name] =
            boards.size() == 1 ? from_one(figure) : from_several(readings);
    }
    return learned;
}

} // namespace yokedock::record
