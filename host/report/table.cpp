// SPDX-License-Identifier: MIT
#include "host/report/table.hpp"
#include "host/report/groups.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using analysis::Figure;
using analysis::FigureStatus;

constexpr std::size_t kTextColumns = 48;
constexpr std::size_t kValueColumns = 30;

/// Places one text beside another, both wrapped.
std::string beside(const std::string& left, const std::string& right) {
    const auto texts = wrapped(printable(left), kTextColumns);
    const auto values = wrapped(printable(right), kColumns - kTextColumns - 4);
    std::string out;
    for (std::size_t i = 0; i < std::max(texts.size(), values.size()); ++i) {
        const std::string text = i < texts.size() ? texts[i] : "";
        const std::string value = i < values.size() ? values[i] : "";
        std::string line = fmt::format("  {:<{}}  {}", text, kTextColumns, value);
        line.erase(line.find_last_not_of(' ') + 1);
        out += line + '\n';
    }
    return out;
}

/// v_locked, h_locked: 1 or 0, with the reason as method.
bool is_yes_or_no(const Figure& figure) {
    constexpr std::string_view kEnd = "_locked";
    return figure.name.size() > kEnd.size() &&
           figure.name.compare(figure.name.size() - kEnd.size(), kEnd.size(), kEnd) == 0;
}

std::string row(const Figure& figure) {
    if (figure.status == FigureStatus::kNotMeasured) {
        return beside(figure.text, "not measured: " + figure.reason);
    }
    if (is_yes_or_no(figure)) {
        return beside(figure.text, (figure.value > 0.5 ? "yes: " : "NO: ") + figure.method);
    }
    const std::string value = quantity_text(figure.value, figure.u, figure.unit);
    std::string out;
    const std::string count = figure.count > 0 ? fmt::format("n {}", figure.count) : "";
    out = beside(figure.text,
                 fmt::format("{:<{}} {:<9} {}", value, kValueColumns, count, figure.where));
    if (figure.status == FigureStatus::kOutOfRange) {
        out += beside("", "out of range: " + figure.reason);
    }
    return out;
}

/// Largest relative error of the clock over all figures: one statement instead of one per row.
double clock_u_relative(const analysis::FigureSet& figures) {
    double largest = 0;
    for (const Figure& figure : figures) {
        if (figure.status == FigureStatus::kMeasured && figure.value != 0 && figure.u_clock > 0) {
            largest = std::max(largest, std::abs(figure.u_clock / figure.value));
        }
    }
    return largest;
}

} // namespace

std::string figure_table(const analysis::FigureSet& figures) {
    std::string out;
    for (const GroupText& group : kGroups) {
        std::string rows;
        for (const Figure& figure : figures) {
            if (group_of(figure.name) == group.group) {
                rows += row(figure);
            }
        }
        if (!rows.empty()) {
            out += std::string(out.empty() ? "" : "\n") + group.title + '\n' + rows;
        }
    }
    if (out.empty()) {
        return "No figures.\n";
    }
    out += "\n+- is the standard uncertainty (k = 1); n is the number of samples or edges used.\n";
    if (const double clock = clock_u_relative(figures); clock > 0) {
        out += paragraph("",
                         fmt::format("Rates and times also share the clock's own error, {:.2g} ppm "
                                     "(standard uncertainty), which is not in +-.",
                                     clock * 1e6));
    }
    return out;
}

} // namespace yokedock::report
