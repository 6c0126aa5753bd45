// SPDX-License-Identifier: MIT
#include "host/lock/sweep_search.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::lock {
namespace {

constexpr double kNearEdge = 0.15;     // of the range: the set rate is too near its end
constexpr double kFreeRunRight = 0.06; // of the set rate: an oscillator that sync could hold
constexpr double kNarrowLine = 0.01;   // of the set rate: usual line ranges are 3 to 6 % each side
constexpr double kNarrowField = 0.03;  // usual vertical ranges reach 10 % and more

bool known(const Limit& limit) {
    return limit.status == LimitStatus::kFound || limit.status == LimitStatus::kBeyond;
}

bool vertical(const SweepSummary& s) {
    return s.settings.axis == SweepAxis::kVertical;
}

double free_run(const SweepSummary& s) {
    const auto& f = s.free_run_before;
    return f && f->status == analysis::FigureStatus::kMeasured ? f->value : 0;
}

std::string hold_control(const SweepSummary& s) {
    return vertical(s) ? "vertical hold" : "horizontal hold";
}

void no_lock(SweepSummary& s) {
    const double free = free_run(s);
    const double off = free / s.settings.nominal_hz - 1;
    if (s.nominal_state == BoardState::no_pulse || free == 0) {
        s.findings.push_back("No retrace pulse, with or without sync: the oscillator, driver or "
                             "output stage does not run, or the comparator's lead is off.");
    } else if (s.nominal_state == BoardState::half_rate) {
        s.findings.push_back(fmt::format(
            "Locked at half the sync rate: the oscillator runs free at {:.3f} Hz, far below {:.3f} "
            "Hz, and sync reaches it only every other time. Look at the timing capacitor and "
            "resistors, then at the {} control.",
            free, s.settings.nominal_hz, hold_control(s)));
    } else if (std::abs(off) < kFreeRunRight) {
        s.findings.push_back(fmt::format(
            "It locks nowhere, though its free run of {:.3f} Hz is {:.1f} % from the set rate: "
            "{}",
            free, 100 * off,
            vertical(s) ? "sync does not reach the vertical oscillator: look at the sync separator "
                          "and the integrator."
                        : "the line AFC is open or sync does not reach it: look at the phase "
                          "detector, its retrace pulse and the sync separator."));
    } else {
        s.findings.push_back(fmt::format(
            "It locks nowhere, and its free run of {:.3f} Hz is {:.1f} % from the set rate: bring "
            "the oscillator near first ({} control, timing parts), then sweep again.",
            free, 100 * off, hold_control(s)));
    }
}

void off_rate(SweepSummary& s, double low, double high) {
    const double set = s.settings.nominal_hz;
    const bool slow = set > high;
    s.findings.push_back(fmt::format(
        "The range is there but does not hold the set rate: it locks from {:.3f} to {:.3f} Hz, the "
        "set rate is {:.3f} Hz. The oscillator is too {}: {} its free run ({} control; if that is "
        "at its end, timing parts).",
        low, high, set, slow ? "slow" : "fast", slow ? "raise" : "lower", hold_control(s)));
}

void inside(SweepSummary& s, double low, double high) {
    const double set = s.settings.nominal_hz;
    const double width = high - low;
    const double below = (set - low) / width;
    const double narrow = (vertical(s) ? kNarrowField : kNarrowLine) * set;
    if (width < narrow && s.hold_low.status == LimitStatus::kFound &&
        s.hold_high.status == LimitStatus::kFound) {
        s.findings.push_back(fmt::format(
            "The range is narrow: {:.3f} to {:.3f} Hz, {:.2f} % of the set rate, with a free run "
            "of {:.3f} Hz. Sync is weak where it meets the oscillator: look at the sync level, the "
            "separator and its coupling capacitor.",
            low, high, 100 * width / set, free_run(s)));
        return;
    }
    // A triggered oscillator locks only above its free run: there only the lower end can be near.
    if (below < kNearEdge || below > 1 - kNearEdge) {
        const bool near_low = below < kNearEdge;
        s.findings.push_back(fmt::format(
            "It holds the set rate of {:.3f} Hz, but near the {} end of its range ({:.3f} to "
            "{:.3f} "
            "Hz): warm-up or a change of mains may lose it. {} the free run with the {} control.",
            set, near_low ? "lower" : "upper", low, high, near_low ? "Lower" : "Raise",
            hold_control(s)));
        return;
    }
    s.findings.push_back(fmt::format(
        "It holds the set rate of {:.3f} Hz well inside its range of {:.3f} to {:.3f} Hz ({:.1f} % "
        "of the way up).",
        set, low, high, 100 * below));
}

void sides(SweepSummary& s, double low, double high) {
    const double free = free_run(s);
    if (free > 0 && vertical(s) && low > free * 0.998 && high > low) {
        s.findings.push_back(fmt::format(
            "It locks only to rates above its free run of {:.3f} Hz, as triggered oscillators do: "
            "that is no fault. The free run belongs below the set rate.",
            free));
    }
}

void check_pull_in(SweepSummary& s) {
    const double slack = 1.5 * s.settings.resolution_hz;
    const auto beyond = [&](const Limit& pull, const Limit& hold, double sign, const char* side) {
        if (known(pull) && hold.status == LimitStatus::kFound &&
            sign * (pull.locked_hz - hold.lost_hz) > slack) {
            s.flags.push_back(fmt::format("Pull-in reaches {:.3f} Hz on the {} side, beyond the "
                                          "hold limit of {:.3f} Hz: that "
                                          "cannot be; the board drifted or the dwell is too short. "
                                          "Sweep again, with a longer "
                                          "--dwell-s.",
                                          pull.locked_hz, side, hold.locked_hz));
        }
    };
    beyond(s.pull_in_low, s.hold_low, -1, "lower");
    beyond(s.pull_in_high, s.hold_high, 1, "upper");
    const auto outside = [&](const Limit& pull, double sign) {
        return known(pull) && sign * (s.settings.nominal_hz - pull.locked_hz) > 0;
    };
    if (s.locks_at_nominal && (outside(s.pull_in_low, -1) || outside(s.pull_in_high, 1))) {
        s.findings.push_back("It holds the set rate but would not find it from the free run: after "
                             "each break in sync the picture would stay torn.");
    }
}

void drift(SweepSummary& s) {
    const auto& a = s.free_run_before;
    const auto& b = s.free_run_after;
    if (!a || !b || a->status != analysis::FigureStatus::kMeasured ||
        b->status != analysis::FigureStatus::kMeasured) {
        return;
    }
    const double moved = b->value - a->value;
    if (std::abs(moved) > s.settings.resolution_hz && std::abs(moved) > 3 * (a->u + b->u)) {
        s.flags.push_back(
            fmt::format("The free run moved by {:.3f} Hz during the sweep: the limits "
                        "moved with it. Let the board warm up, then sweep again.",
                        moved));
    }
}

} // namespace

void add_findings(SweepSummary& s) {
    s.findings.clear();
    s.flags.clear();
    if (!known(s.hold_low) || !known(s.hold_high)) {
        if (s.complete) {
            no_lock(s);
            drift(s);
        }
        return;
    }
    const double low = s.hold_low.locked_hz;
    const double high = s.hold_high.locked_hz;
    const double set = s.settings.nominal_hz;
    if (set < low || set > high) {
        off_rate(s, low, high);
    } else {
        inside(s, low, high);
    }
    sides(s, low, high);
    check_pull_in(s);
    drift(s);
}

} // namespace yokedock::lock
