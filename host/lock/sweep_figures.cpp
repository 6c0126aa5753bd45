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
    const double middle_hz = (limit.locked_hz + limit.lost_hz) / 2;
    const double pct = 100 * sign * (middle_hz / set - 1);
    if (!(pct > 0)) {
        return none(fmt::format("the limit found, {:.3f} Hz, is not {} the set rate of {:.3f} Hz",
                                middle_hz, side, set));
    }
    return analysis::measured(name, text, "%", pct,
                              100 * limit.resolution_hz() / set / std::sqrt(12.0), 2,
                              "middle between the last rate held and the first one lost");
}

} // namespace

analysis::FigureSet sweep_figures(const SweepSummary& summary) {
    return {free_rate(summary), hold(summary, summary.hold_low, true),
            hold(summary, summary.hold_high, false)};
}

} // namespace yokedock::lock
