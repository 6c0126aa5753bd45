// SPDX-License-Identifier: MIT
#include "host/diagnose/compare_parts.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::diagnose {
namespace {

constexpr Item kNeeded[] = {Item::kLock,      Item::kRate,    Item::kSize, Item::kCentring,
                            Item::kLinearity, Item::kRetrace, Item::kShape};

std::string percent(double part, double whole) {
    const double pct = 100 * part / std::abs(whole);
    return whole == 0              ? ""
           : std::abs(pct) >= 99.5 ? fmt::format(" ({:+.0f} %)", pct)
                                   : fmt::format(" ({:+.2g} %)", pct);
}

std::string difference_words(const FigureComparison& c) {
    if (!std::isfinite(c.difference)) {
        return fmt::format("{}: {}", c.text, c.reason);
    }
    if (c.rule.way == FigureRule::Way::kYesOrNo) {
        return fmt::format("{}: {}, the reference {}", c.text, c.value > 0.5 ? "yes" : "NO",
                           c.reference > 0.5 ? "yes" : "no");
    }
    return fmt::format("{}: {:.4g} {}, reference {:.4g}{}{}", c.text, c.value, c.unit, c.reference,
                       c.unit == "%" ? "" : percent(c.difference, c.reference),
                       c.where.empty() ? "" : ", " + c.where);
}

std::string shape_words(const RampComparison& r) {
    return fmt::format("shape of the ramp: {:.2g} % of p-p off at the {}, size and centring left "
                       "aside",
                       std::abs(r.shape_largest.pct), r.shape_largest.where);
}

/// How far beyond its tolerance, to tell the most telling first.
double excess(const FigureComparison& c) {
    return c.tolerance > 0 && std::isfinite(c.difference) ? std::abs(c.difference) / c.tolerance
                                                          : 1e9;
}

struct Gathered {
    bool same = false;
    bool different = false;
    std::string open; ///< why not, of the figure that tells most of it
};

/// An item may be open for several figures (retrace: 10 to 90 % and the comparator's pulse): what
/// was measured in both tells more than what is missing in one, and that more than what is in
/// neither.
int tells(const FigureComparison& c) {
    const bool here = std::isfinite(c.value);
    const bool there = std::isfinite(c.reference);
    return c.verdict == Verdict::kNotMeasured ? int{here} + int{there} : 3;
}

Gathered gather(const Comparison& comparison, Axis axis, Item item) {
    Gathered g;
    if (item == Item::kShape) {
        for (const RampComparison& r : comparison.ramps) {
            if (r.axis == axis) {
                g.same = r.verdict == Verdict::kSame;
                g.different = r.verdict == Verdict::kDifferent;
                g.open = r.reason;
            }
        }
        return g;
    }
    const FigureComparison* telling = nullptr;
    int seen = 0;
    for (const FigureComparison& c : comparison.figures) {
        if (c.rule.axis == axis && c.rule.item == item) {
            g.same = g.same || c.verdict == Verdict::kSame;
            g.different = g.different || c.verdict == Verdict::kDifferent;
            seen += tells(c) > 0 ? 1 : 0;
            if (c.verdict != Verdict::kSame && (telling == nullptr || tells(c) > tells(*telling))) {
                telling = &c;
            }
        }
    }
    if (telling != nullptr) {
        // Named, where its reason alone would read as if nothing of the item had been measured.
        const bool one_of_them = telling->verdict == Verdict::kNotMeasured && seen > 1;
        g.open =
            one_of_them ? fmt::format("{}: {}", telling->text, telling->reason) : telling->reason;
    }
    return g;
}

AxisVerdict judge_axis(const Comparison& comparison, Axis axis) {
    AxisVerdict v{axis, Verdict::kCannotTell, {}, {}};
    std::vector<const FigureComparison*> differ;
    for (const FigureComparison& c : comparison.figures) {
        if (c.rule.axis == axis && c.verdict == Verdict::kDifferent) {
            differ.push_back(&c);
        }
    }
    std::stable_sort(differ.begin(), differ.end(),
                     [](const auto* a, const auto* b) { return excess(*a) > excess(*b); });
    for (const FigureComparison* c : differ) {
        v.differ.push_back(difference_words(*c));
    }
    for (const RampComparison& r : comparison.ramps) {
        if (r.axis == axis && r.verdict == Verdict::kDifferent) {
            v.differ.push_back(shape_words(r));
        }
    }
    if (axis == Axis::kBoard) {
        v.verdict = v.differ.empty() ? Verdict::kSame : Verdict::kDifferent;
        return v;
    }
    for (const Item item : kNeeded) {
        const Gathered g = gather(comparison, axis, item);
        const bool without_sync =
            item == Item::kLock &&
            std::any_of(comparison.conditions.begin(), comparison.conditions.end(),
                        [](const Condition& c) { return c.what == kLockCondition; });
        if (!g.same && !g.different && !without_sync) {
            v.open.push_back(
                fmt::format("{}{}", word_of(item), g.open.empty() ? "" : ": " + g.open));
        }
    }
    v.verdict = !v.differ.empty() ? Verdict::kDifferent
                : v.open.empty()  ? Verdict::kSame
                                  : Verdict::kCannotTell;
    return v;
}

} // namespace

void judge_axes(Comparison& comparison, const CompareOptions& options, const Bearing& bearing) {
    if (options.vertical) {
        comparison.axes.push_back(judge_axis(comparison, Axis::kVertical));
    }
    if (options.horizontal) {
        comparison.axes.push_back(judge_axis(comparison, Axis::kHorizontal));
    }
    // Nobody waits for the supply's figures, so that they are the same is no finding.
    AxisVerdict supply = judge_axis(comparison, Axis::kBoard);
    if (supply.verdict == Verdict::kDifferent) {
        comparison.axes.push_back(std::move(supply));
    }
    const auto any = [&](Verdict verdict) {
        return std::any_of(comparison.axes.begin(), comparison.axes.end(),
                           [&](const AxisVerdict& a) { return a.verdict == verdict; });
    };
    // What one axis is fed shows in the other and in the supply: no verdict against the board.
    const bool stopped = (options.vertical && !bearing.no_sync_figures[0].empty()) ||
                         (options.horizontal && !bearing.no_sync_figures[1].empty());
    comparison.verdict = stopped                     ? Verdict::kCannotTell
                         : any(Verdict::kDifferent)  ? Verdict::kDifferent
                         : any(Verdict::kCannotTell) ? Verdict::kCannotTell
                                                     : Verdict::kSame;
}

} // namespace yokedock::diagnose
