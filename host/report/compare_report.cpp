// SPDX-License-Identifier: MIT
#include "host/report/compare_report.hpp"
#include "host/report/text.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using diagnose::Axis;
using diagnose::AxisVerdict;
using diagnose::Comparison;
using diagnose::ConditionState;
using diagnose::RampComparison;
using diagnose::Verdict;

std::string capital(const char* word) {
    std::string out = word;
    out[0] = static_cast<char>(out[0] - 'a' + 'A');
    return out;
}

std::string axis_words(const AxisVerdict& axis) {
    const std::string name = capital(diagnose::word_of(axis.axis));
    if (axis.verdict == Verdict::kSame) {
        return paragraph("", name + ": the same, and measured well enough to say so.");
    }
    std::string out = paragraph(
        "", name + (axis.verdict == Verdict::kDifferent ? ": different." : ": cannot tell."));
    for (const std::string& one : axis.differ) {
        out += paragraph("  * ", printable(one));
    }
    // Items that are open for one reason are told together.
    std::vector<std::pair<std::string, std::string>> open; // reason, items
    for (const std::string& one : axis.open) {
        const auto colon = one.find(": ");
        const std::string item = one.substr(0, colon);
        const std::string reason = colon == std::string::npos ? "" : one.substr(colon + 2);
        if (!open.empty() && open.back().first == reason) {
            open.back().second += ", " + item;
        } else {
            open.emplace_back(reason, item);
        }
    }
    for (const auto& [reason, items] : open) {
        out +=
            paragraph("  ? ", printable(items + (reason.empty() ? " not known" : ": " + reason)));
    }
    return out;
}

/// What was left room for: the verdict says little without it.
std::string reference_words(const Comparison& comparison) {
    std::string sizes;
    for (const diagnose::FigureComparison& c : comparison.figures) {
        if (c.rule.item == diagnose::Item::kSize && c.tolerance > 0 && c.reference != 0) {
            sizes += fmt::format("{}{} size by {:.2g} %", sizes.empty() ? "" : ", ",
                                 diagnose::word_of(c.rule.axis),
                                 100 * c.tolerance / std::abs(c.reference));
        }
    }
    const bool one = comparison.references.size() == 1;
    const std::string may =
        sizes.empty() ? std::string() : ", which may differ in " + sizes + " before it counts";
    return comparison.kind == diagnose::ReferenceKind::kSameBoard
               ? fmt::format("Reference: {} of this very board{}. (Another board? --reference-is "
                             "other-boards.)",
                             one ? "a run" : "runs", may)
               : fmt::format(
                     "Reference: {}{}. (Runs of this very board? --reference-is "
                     "same-board.)",
                     one ? "another good board of the type" : "other good boards of the type", may);
}

std::string ramp_words(const RampComparison& r) {
    const std::string head = capital(diagnose::word_of(r.axis)) + " ramp: ";
    if (r.verdict == Verdict::kNotMeasured || r.verdict == Verdict::kNotComparable) {
        return head + "not compared, " + r.reason + ".";
    }
    const char* shape = r.verdict == Verdict::kSame        ? "same shape"
                        : r.verdict == Verdict::kDifferent ? "OTHER SHAPE"
                                                           : "shape cannot be told";
    const bool vertical = r.axis == Axis::kVertical;
    const std::string window =
        r.against_sync
            ? fmt::format("{:.4g} to {:.4g} {} after sync",
                          r.window_begin_s * (vertical ? 1e3 : 1e6),
                          r.window_end_s * (vertical ? 1e3 : 1e6), vertical ? "ms" : "us")
            : std::string("the same part of each one's own trace");
    const auto at = [](const RampComparison::Largest& l) {
        return fmt::format("{} ({})", quantity_text(l.pct, l.u_pct, "%"), l.where);
    };
    return head +
           fmt::format(
               "{}; size {} of the reference's, centring shifted by {}. Largest distance {}, rms "
               "{}; size and centring taken off: largest {}, rms {} (tolerance {:.2g} %, {}). In % "
               "of the reference's p-p, over {}.",
               shape, quantity_text(100 * r.size_ratio, 100 * r.size_ratio_u, "%"),
               quantity_text(r.shift_pct, r.shift_u_pct, "%"), at(r.largest),
               quantity_text(r.rms_pct, r.rms_u_pct, "%"), at(r.shape_largest),
               quantity_text(r.shape_rms_pct, r.shape_rms_u_pct, "%"), r.tolerance_pct, r.basis,
               window);
}

} // namespace

const char* verdict_word(Verdict verdict) {
    switch (verdict) {
    case Verdict::kSame:
        return "same";
    case Verdict::kDifferent:
        return "different";
    case Verdict::kCannotTell:
        return "cannot tell";
    case Verdict::kNotMeasured:
        return "not measured";
    case Verdict::kNotComparable:
        return "not comparable";
    case Verdict::kNotJudged:
        break;
    }
    return "not judged";
}

std::string compare_summary(const Comparison& comparison, const std::string& record_name) {
    std::string out;
    const char* word = comparison.verdict == Verdict::kSame        ? "SAME"
                       : comparison.verdict == Verdict::kDifferent ? "DIFFERENT"
                                                                   : "CANNOT TELL";
    std::string references;
    for (const std::string& name : comparison.references) {
        references += (references.empty() ? "" : ", ") + name;
    }
    out += paragraph(fmt::format("{}: ", word), printable(record_name + " against " + references));
    for (const AxisVerdict& axis : comparison.axes) {
        out += axis_words(axis);
    }
    out += paragraph("", printable(reference_words(comparison)));
    return out;
}

std::string compare_conditions(const Comparison& comparison) {
    std::string out = "Conditions\n";
    for (const diagnose::Condition& c : comparison.conditions) {
        const char* mark = c.stops                               ? "  STOP "
                           : c.state == ConditionState::kEqual   ? "  =    "
                           : c.state == ConditionState::kUnknown ? "  ?    "
                                                                 : "  !    ";
        out += paragraph(mark, printable(c.text));
    }
    return out;
}

std::string compare_ramps(const Comparison& comparison) {
    std::string out = "Ramps\n";
    for (const RampComparison& r : comparison.ramps) {
        out += paragraph("  ", printable(ramp_words(r)));
    }
    return out;
}

} // namespace yokedock::report
