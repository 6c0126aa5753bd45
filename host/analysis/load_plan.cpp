// SPDX-License-Identifier: MIT
#include "host/analysis/load_plan.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <numeric>

namespace yokedock::analysis {
namespace {

constexpr double kLongestHenry = 0.04; // DESIGN: loads of 0.05 to 40 mH
constexpr double kFirstLookS = 1;
constexpr double kFirstLookTaus = 6;
constexpr double kWindowTaus = 7;  // exp(-7) is a tenth of a code of 1000
constexpr double kPlateauTaus = 5; // shorter: the resistance hangs on the curve's shape
constexpr double kWantedSamples = 2000;
constexpr double kLeastPeriods = 16;
constexpr double kGolden = 0.3819660112501051;
constexpr double kOffMargin = 1.3;  // on the time in which the current dies
constexpr double kWeakLimit = 0.05; // worth a note

std::uint32_t ticks(double s, const StepLimits& limits) {
    return static_cast<std::uint32_t>(std::lround(s / limits.tick_s));
}

double clamped(double s, const StepLimits& limits) {
    return std::clamp(s, limits.least_s, limits.most_s);
}

// Period = so many lines and 0.382 of one, off made longer (or shorter at its end) for it. The rest
// has no factor in common with the line, so that every tick of it comes up.
void set_times(StepPlan& plan, double on_s, double off_s, const StepLimits& limits) {
    const std::uint32_t line = std::max(ticks(limits.sample_period_s, limits), 2u);
    const std::uint32_t least = ticks(on_s, limits) + ticks(off_s, limits);
    auto rest = static_cast<std::uint32_t>(std::lround(kGolden * line));
    while (std::gcd(rest, line) != 1) {
        ++rest;
    }
    std::uint32_t period = least / line * line + rest;
    if (period < least) {
        period += line;
    }
    plan.on_ticks = ticks(on_s, limits);
    if (period - plan.on_ticks > ticks(limits.most_s, limits)) {
        period -= line;
    }
    plan.off_ticks = period - plan.on_ticks;
}

double period_s(const StepPlan& plan, const StepLimits& limits) {
    return (static_cast<double>(plan.on_ticks) + plan.off_ticks) * limits.tick_s;
}

void set_periods(StepPlan& plan, double wanted, const StepLimits& limits) {
    const double most = std::floor(limits.most_total_s / period_s(plan, limits));
    plan.periods = static_cast<std::uint16_t>(
        std::clamp(std::ceil(wanted), std::min(kLeastPeriods, most), std::min(most, 65535.0)));
    const double lines = plan.window_s / limits.sample_period_s;
    plan.samples = static_cast<std::size_t>(plan.periods * lines);
    plan.spacing_s = std::max(limits.tick_s, limits.sample_period_s / plan.periods);
}

// Until the freewheel diode has brought the coil's current to nothing. At R = 0 it is L I / v.
double dying_s(double henry, double ohm, double amps, double diode_v) {
    return ohm > 0 ? henry / ohm * std::log1p(amps * ohm / diode_v) : henry * amps / diode_v;
}

void note_limits(StepPlan& plan, double tau_s, double unknown_s) {
    plan.inductance_u_relative = unknown_s / tau_s;
    if (plan.inductance_u_relative > kWeakLimit) {
        plan.notes.push_back(fmt::format(
            "a time constant near {:.2g} us is not far above what is unknown of input lag and edge "
            "({:.2g} us): the inductance may be good to {:.0f} % only; the horizontal channel "
            "is the faster one",
            1e6 * tau_s, 1e6 * unknown_s, 100 * plan.inductance_u_relative));
    }
    if (plan.to_s < kPlateauTaus * tau_s) {
        plan.notes.push_back(fmt::format(
            "the drive cannot stay on for more than {:.3g} ms, {:.1f} time constants: the "
            "resistance rests on the shape of the rise",
            1e3 * plan.to_s, plan.to_s / tau_s));
    }
    if (!plan.starts_from_zero) {
        plan.notes.emplace_back("the drive cannot stay off until the current has died: what is "
                                "left of it is fitted, and the zero of the channel counts in full");
    }
}

std::vector<std::size_t> evenly(const std::vector<std::size_t>& list, std::size_t most) {
    std::vector<std::size_t> some;
    const std::size_t stride =
        std::max<std::size_t>(1, (list.size() + most - 1) / std::max<std::size_t>(most, 1));
    for (std::size_t k = 0; k < list.size(); k += stride) {
        some.push_back(list[k]);
    }
    return some;
}

// Half of them evenly in time, half evenly in its logarithm: a second, faster rise hides there.
std::vector<std::size_t> dense_at_the_start(std::vector<std::size_t> list,
                                            const std::vector<double>& time_s, std::size_t most) {
    if (list.size() <= most) {
        return list;
    }
    std::stable_sort(list.begin(), list.end(),
                     [&](std::size_t a, std::size_t b) { return time_s[a] < time_s[b]; });
    std::vector<bool> taken(list.size(), false);
    const std::size_t half = std::max<std::size_t>(most / 2, 1);
    for (std::size_t k = 0; k < half; ++k) {
        taken[k * list.size() / half] = true;
    }
    // Steps that begin at one sample and grow: the early ones are all taken.
    const double growth = std::pow(static_cast<double>(list.size()), 1 / static_cast<double>(half));
    std::size_t at = 0;
    for (std::size_t k = 0; k < half; ++k) {
        const double next = std::pow(growth, static_cast<double>(k));
        at = std::max(at, static_cast<std::size_t>(next));
        while (at < list.size() && taken[at]) {
            ++at;
        }
        if (at < list.size()) {
            taken[at] = true;
        }
    }
    std::vector<std::size_t> some;
    for (std::size_t k = 0; k < list.size(); ++k) {
        if (taken[k]) {
            some.push_back(list[k]);
        }
    }
    return some;
}

} // namespace

StepPlan plan_first_look(const StepDrive& drive, const StepLimits& limits) {
    StepPlan plan;
    const double tau = kLongestHenry / std::max(drive.source_ohm, 0.1);
    const double on = clamped(kFirstLookTaus * tau, limits);
    set_times(plan, on, limits.most_s, limits);
    plan.window_s = on;
    plan.to_s = on;
    plan.from_s = -limits.sample_period_s * 8;
    set_periods(plan, kFirstLookS / period_s(plan, limits), limits);
    return plan;
}

StepPlan plan_load_step(const LoadStep& first, const StepSamples& looked, const StepDrive& drive,
                        const StepLimits& limits) {
    if (!first.ok || first.no_current) {
        StepPlan again = plan_first_look(drive, limits);
        again.notes.push_back(first.ok ? "no current was seen: the first look is repeated"
                                       : "the first look failed: " + first.problem);
        return again;
    }
    StepPlan plan;
    const double mean = first.time_constant.value;
    const double tau = first.second.found ? std::max(first.second.slow_s, mean) : mean;
    const double seen = tau + looked.lag_s + 2 * looked.origin_u_s;
    plan.window_s = std::min(std::max(kWindowTaus * seen, 40 * limits.tick_s), limits.most_s);
    const double on = clamped(plan.window_s, limits);
    plan.window_s = std::min(plan.window_s, on);
    plan.to_s = on;

    const bool known_ohm = first.resistance.status == FigureStatus::kMeasured;
    const double ohm =
        known_ohm ? std::max(0.0, first.resistance.value - 2 * first.resistance.u) : 0;
    const double amps =
        std::min(std::abs(first.current.value), drive.volts / std::max(drive.source_ohm, 1e-3));
    const double dying = dying_s(first.inductance.value, ohm, amps, limits.freewheel_v);
    plan.starts_from_zero = kOffMargin * dying <= limits.most_s;
    plan.skip_periods = plan.starts_from_zero ? 0 : 2;
    const double quiet = std::clamp(plan.window_s / 2, 8 * limits.sample_period_s, limits.least_s);
    const double off = clamped(kOffMargin * dying + quiet, limits);
    set_times(plan, on, off, limits);
    plan.from_s =
        plan.starts_from_zero ? -std::max(0.0, std::min(quiet, off - kOffMargin * dying)) : 0;
    set_periods(plan, kWantedSamples * limits.sample_period_s / plan.window_s, limits);
    note_limits(plan, tau, std::hypot(looked.lag_u_s, looked.origin_u_s));
    return plan;
}

StepSamples samples_for(const StepPlan& plan, const StepSamples& all, std::size_t most_in_window) {
    StepSamples some = all;
    some.time_s.clear();
    some.amps.clear();
    some.starts_from_zero = plan.starts_from_zero;
    const auto part = [&](double from, double to) {
        std::vector<std::size_t> list;
        for (std::size_t i = 0; i < std::min(all.time_s.size(), all.amps.size()); ++i) {
            if (all.time_s[i] > from && all.time_s[i] <= to) {
                list.push_back(i);
            }
        }
        return list;
    };
    const auto take = [&](std::size_t i) {
        some.time_s.push_back(all.time_s[i]);
        some.amps.push_back(all.amps[i]);
    };
    const auto rise = part(0, plan.window_s);
    const std::size_t beside = std::min(most_in_window, std::max<std::size_t>(rise.size(), 64));
    for (const auto& [from, to] : {std::pair{plan.from_s, 0.0}, {plan.window_s, plan.to_s}}) {
        for (const std::size_t i : evenly(part(from, to), beside)) {
            take(i);
        }
    }
    for (const std::size_t i : dense_at_the_start(rise, all.time_s, most_in_window)) {
        take(i);
    }
    return some;
}

} // namespace yokedock::analysis
