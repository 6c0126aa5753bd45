// SPDX-License-Identifier: MIT
#include "host/lock/sweep_figures.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::lock {
namespace {

using analysis::Figure;

constexpr const char* kNotReached = "the sweep did not get there";

bool is_measured(const std::optional<Figure>& figure) {
    return figure && figure->status == analysis::FigureStatus::kMeasured &&
           std::isfinite(figure->value) && std::isfinite(figure->u);
}

std::string axis_word(const SweepSummary& s) {
    return s.settings.axis == SweepAxis::kVertical ? "vertical" : "horizontal";
}

Figure free_rate(const SweepSummary& s) {
    const std::string name = axis_word(s).substr(0, 1) + "_free_rate_hz";
    const std::string text = axis_word(s) + " free run, sync removed";
    const bool before = is_measured(s.free_run_before);
    const bool after = is_measured(s.free_run_after);
    if (!before && !after) {
        const bool told = s.free_run_before && !s.free_run_before->reason.empty();
        return analysis::not_measured(name, text, "Hz",
                                      told ? s.free_run_before->reason : kNotReached);
    }
    if (!before || !after) {
        const Figure& one = before ? *s.free_run_before : *s.free_run_after;
        return analysis::measured(name, text, "Hz", one.value, one.u, one.count,
                                  before ? "at the sweep's start" : "at the sweep's end");
    }
    const Figure& a = *s.free_run_before;
    const Figure& b = *s.free_run_after;
    const double u = std::hypot(a.u / 2, b.u / 2, (b.value - a.value) / std::sqrt(12.0));
    return analysis::measured(name, text, "Hz", (a.value + b.value) / 2, u, a.count + b.count,
                              "mean of the sweep's start and end");
}

double middle_hz(const Limit& limit) {
    return (limit.locked_hz + limit.lost_hz) / 2;
}

Figure hold(const SweepSummary& s, const Limit& limit, bool below) {
    const std::string side = below ? "below" : "above";
    const std::string name = axis_word(s).substr(0, 1) + "_hold_" + side + "_pct";
    const std::string text = axis_word(s) + " lock held " + side + " the set rate by";
    const auto none = [&](const std::string& reason) {
        return analysis::not_measured(name, text, "%", reason);
    };
    if (limit.status != LimitStatus::kFound) {
        return none(limit.reason.empty() ? kNotReached : limit.reason);
    }
    const double set = s.settings.nominal_hz;
    if (!s.locks_at_nominal || !(set > 0)) {
        return none(fmt::format("the set rate of {:.3f} Hz itself is not held", set));
    }
    const double sign = below ? -1 : 1;
    const double pct = 100 * sign * (middle_hz(limit) / set - 1);
    if (!(pct > 0)) {
        return none(fmt::format("the limit found, {:.3f} Hz, is not {} the set rate of {:.3f} Hz",
                                middle_hz(limit), side, set));
    }
    return analysis::measured(name, text, "%", pct,
                              100 * limit.resolution_hz() / set / std::sqrt(12.0), 2,
                              "middle between the last rate held and the first one lost");
}

struct Width {
    double value = 0;
    double u = 0;
};

Width width_hz(const Limit& low, const Limit& high) {
    return {middle_hz(high) - middle_hz(low),
            std::hypot(low.resolution_hz(), high.resolution_hz()) / std::sqrt(12.0)};
}

Figure pull_in_share(const SweepSummary& s) {
    const std::string name = axis_word(s).substr(0, 1) + "_pull_in_share_pct";
    const std::string text = axis_word(s) + " pull-in range, share of the hold range";
    for (const Limit* limit : {&s.hold_low, &s.hold_high, &s.pull_in_low, &s.pull_in_high}) {
        if (limit->status != LimitStatus::kFound) {
            return analysis::not_measured(name, text, "%",
                                          limit->reason.empty() ? kNotReached : limit->reason);
        }
    }
    const Width hold = width_hz(s.hold_low, s.hold_high);
    const Width found = width_hz(s.pull_in_low, s.pull_in_high);
    if (!(hold.value > 0) || !(found.value > 0)) {
        return analysis::not_measured(name, text, "%", "the limits found leave no range");
    }
    const double share = 100 * found.value / hold.value;
    return analysis::measured(name, text, "%", share,
                              share * std::hypot(found.u / found.value, hold.u / hold.value), 4,
                              "widths between the middles of the limits");
}

} // namespace

analysis::FigureSet sweep_figures(const SweepSummary& summary) {
    return {free_rate(summary), hold(summary, summary.hold_low, true),
            hold(summary, summary.hold_high, false), pull_in_share(summary)};
}

} // namespace yokedock::lock
