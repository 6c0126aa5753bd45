// SPDX-License-Identifier: MIT
#include "host/report/table.hpp"
#include "host/report/groups.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <iterator>

namespace yokedock::report {
namespace {

using analysis::Figure;
using analysis::FigureStatus;

constexpr std::size_t kTextColumns = 48;
constexpr std::size_t kValueColumns = 28;
/// From this many figures with one reason on, the reason is given once.
constexpr std::size_t kFewestToGather = 3;

/// Text that fits stays as it is, with its columns; longer text is wrapped.
std::vector<std::string> lines_of(const std::string& text, std::size_t width) {
    return text.size() <= width ? std::vector<std::string>{text} : wrapped(text, width);
}

/// Places one text beside another.
std::string beside(const std::string& left, const std::string& right) {
    const auto texts = lines_of(printable(left), kTextColumns);
    const auto values = lines_of(printable(right), kColumns - kTextColumns - 4);
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
    const std::string count = figure.count > 0 ? fmt::format("n {}", figure.count) : "";
    std::string out = beside(
        figure.text, fmt::format("{:<{}} {:<9} {}", value, kValueColumns, count, figure.where));
    if (figure.status == FigureStatus::kOutOfRange) {
        out += beside("", "out of range: " + figure.reason);
    }
    return out;
}

/// Figures that were not measured for one reason, all together.
std::string gathered(const std::vector<const Figure*>& figures) {
    std::string names;
    for (const Figure* figure : figures) {
        names += (names.empty() ? "" : "; ") + figure->text;
    }
    return paragraph("  not measured: ", printable(figures.front()->reason + ':')) +
           paragraph("      ", printable(names));
}

std::string rows_of(const analysis::FigureSet& figures, Group group) {
    std::string rows;
    std::vector<const Figure*> missing;
    std::vector<std::string> reasons;
    for (const Figure& figure : figures) {
        if (group_of(figure.name) != group) {
            continue;
        }
        if (figure.status == FigureStatus::kNotMeasured) {
            missing.push_back(&figure);
            if (std::find(reasons.begin(), reasons.end(), figure.reason) == reasons.end()) {
                reasons.push_back(figure.reason);
            }
        } else {
            rows += row(figure);
        }
    }
    for (const std::string& reason : reasons) {
        std::vector<const Figure*> same;
        std::copy_if(missing.begin(), missing.end(), std::back_inserter(same),
                     [&](const Figure* figure) { return figure->reason == reason; });
        if (same.size() >= kFewestToGather) {
            rows += gathered(same);
        } else {
            for (const Figure* figure : same) {
                rows += row(*figure);
            }
        }
    }
    return rows;
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

std::string figure_rows(const analysis::FigureSet& figures) {
    std::string out;
    for (const Figure& figure : figures) {
        out += row(figure);
    }
    return out;
}

std::string figure_table(const analysis::FigureSet& figures) {
    std::string out;
    for (const GroupText& group : kGroups) {
        const std::string rows = rows_of(figures, group.group);
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
