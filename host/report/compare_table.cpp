// SPDX-License-Identifier: MIT
#include "host/report/compare_report.hpp"
#include "host/report/groups.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using diagnose::Comparison;
using diagnose::FigureComparison;
using diagnose::Verdict;

constexpr std::size_t kTextColumns = 32;
constexpr std::size_t kChangeColumns = 19;

char mark_of(const FigureComparison& c) {
    return c.verdict == Verdict::kDifferent        ? '*'
           : c.verdict == Verdict::kCannotTell     ? '?'
           : c.verdict == Verdict::kSame && c.real ? '+'
                                                   : ' ';
}

std::string change_text(const FigureComparison& c) {
    if (!std::isfinite(c.difference)) {
        return "-";
    }
    std::string text = c.difference == 0 && !(c.u > 0) ? "0" : quantity_text(c.difference, c.u, "");
    if (text.size() > kChangeColumns) {
        text = fmt::format("{:.1e} +- {:.0e}", c.difference, c.u);
    }
    return text;
}

/// At most `most` columns, by its uncertainty where that fits.
std::string value_text(double value, double u, std::size_t most) {
    const std::string text = number_text(value, u);
    return text.size() <= most ? text : fmt::format("{:.5g}", value);
}

std::string row(const FigureComparison& c) {
    const std::string unit = c.unit.empty() ? "" : ", " + c.unit;
    const auto texts = wrapped(printable(c.text + unit), kTextColumns);
    const bool judged = c.verdict != Verdict::kNotJudged;
    std::string out = fmt::format(
        "{} {:<{}} {:>11} {:>11} {:>{}} {:>8} {}\n", mark_of(c), texts[0], kTextColumns,
        value_text(c.value, c.u, 11), value_text(c.reference, c.u, 11), change_text(c),
        kChangeColumns, std::isfinite(c.tolerance) ? fmt::format("{:.3g}", c.tolerance) : "",
        judged ? verdict_word(c.verdict) : "");
    out.erase(out.find_last_not_of(" \n") + 1);
    out += '\n';
    for (std::size_t i = 1; i < texts.size(); ++i) {
        out += "  " + texts[i] + '\n';
    }
    if (std::isfinite(c.spread) && judged) {
        out += fmt::format("    {} references, standard deviation between them {:.2g}\n",
                           c.references, c.spread);
    }
    return out;
}

/// Figures that could not be compared, gathered by reason.
std::string left_out(const std::vector<const FigureComparison*>& figures) {
    std::vector<std::pair<std::string, std::string>> gathered;
    for (const FigureComparison* c : figures) {
        const std::string reason = c->reason.empty() ? verdict_word(c->verdict)
                                   : c->verdict == Verdict::kNotComparable
                                       ? "not comparable: " + c->reason
                                       : c->reason;
        const auto known = std::find_if(gathered.begin(), gathered.end(),
                                        [&](const auto& g) { return g.first == reason; });
        if (known == gathered.end()) {
            gathered.emplace_back(reason, c->text);
        } else {
            known->second += "; " + c->text;
        }
    }
    std::string out;
    for (const auto& [reason, names] : gathered) {
        out += paragraph("  ", printable(reason + ':')) + paragraph("      ", printable(names));
    }
    return out;
}

} // namespace

std::string compare_table(const Comparison& comparison) {
    std::string out = fmt::format("  {:<{}} {:>11} {:>11} {:>{}} {:>8}\n", "", kTextColumns, "this",
                                  "reference", "difference +- u", kChangeColumns, "toler.");
    std::vector<const FigureComparison*> left;
    for (const GroupText& group : kGroups) {
        std::string rows;
        for (const FigureComparison& c : comparison.figures) {
            if (group_of(c.name) != group.group) {
                continue;
            }
            if (c.verdict == Verdict::kNotMeasured || c.verdict == Verdict::kNotComparable ||
                (c.verdict == Verdict::kNotJudged && !std::isfinite(c.difference))) {
                left.push_back(&c);
            } else {
                rows += row(c);
            }
        }
        out += rows.empty() ? "" : std::string(group.title) + '\n' + rows;
    }
    if (!left.empty()) {
        out += "Left out\n" + left_out(left);
    }
    std::vector<std::string> bases;
    for (const FigureComparison& c : comparison.figures) {
        if (std::isfinite(c.tolerance) && !c.basis.empty() && c.basis != "yes or no" &&
            std::find(bases.begin(), bases.end(), c.basis) == bases.end()) {
            bases.push_back(c.basis);
        }
    }
    out +=
        '\n' +
        paragraph(
            "",
            fmt::format("* beyond tolerance, and more than measuring explains; + really other, but "
                        "within tolerance; ? cannot be told. u is the standard uncertainty of the "
                        "difference. {} judgements share a false alarm of {:g} %. Tolerances: {}.",
                        comparison.tests, 100 * diagnose::kFalseAlarm, fmt::join(bases, "; ")));
    return out;
}

} // namespace yokedock::report
