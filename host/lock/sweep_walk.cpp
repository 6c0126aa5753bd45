// SPDX-License-Identifier: MIT
#include "host/lock/sweep_walk.hpp"
#include "host/lock/judge.hpp"
#include "host/lock/stimulus.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::lock {
namespace {

constexpr int kMostBisections = 24;
constexpr double kPartResolution = 0.02; // of the set pulse width
constexpr double kRateSlackHz = 1e-6;

bool locked(const StepResult& r) {
    return r.state == BoardState::locked;
}

bool vertical(const SweepSettings& s) {
    return s.axis == SweepAxis::kVertical;
}

} // namespace

// After a small change of rate: a triggered oscillator follows from one field to the next, a line
// loop's filter needs some ten milliseconds (its lag network; common practice, no source).
double settle_s(const SweepSettings& s) {
    return vertical(s) ? 0.06 : 0.05;
}

double free_run_dwell_s(const SweepSettings& s) {
    return vertical(s) ? 0.5 : 0.1;
}

// Without sync: the field ramp's coupling capacitors and the loop filter let go.
double release_s(const SweepSettings& s) {
    return vertical(s) ? 0.3 : 0.12;
}

double default_dwell_s(const SweepSettings& s) {
    if (s.dwell_s > 0) {
        return s.dwell_s;
    }
    // A line loop is bent in every field: one and a half of them tell bend from drift.
    const double field_s =
        s.sync.half_lines * 0.5 * s.sync.line_rate_denominator / s.sync.line_rate_numerator;
    const double shortest_s = vertical(s) ? 15 * field_s : 1.5 * field_s;
    return std::max(shortest_s, least_dwell_s(s.resolution_hz));
}

const StepResult* SweepWalk::ask(SweepPart part, Approach approach, double rate_hz, double from_hz,
                                 double ramp_step_hz, double sync_part) {
    if (at_ < results_.size()) {
        return &results_[at_++];
    }
    SweepStep step;
    step.number = static_cast<std::uint32_t>(results_.size());
    step.part = part;
    step.approach = approach;
    step.rate_hz = rate_hz;
    step.from_hz = from_hz;
    step.ramp_step_hz = ramp_step_hz > 0 ? ramp_step_hz : settings_.step_hz;
    step.dwell_s = default_dwell_s(settings_);
    step.sync_part = sync_part;
    switch (approach) {
    case Approach::kNoSync:
        step.acquire_s = release_s(settings_);
        step.dwell_s = std::max(step.dwell_s, free_run_dwell_s(settings_));
        break;
    case Approach::kFromLock:
    case Approach::kFromNoLock:
        step.acquire_s = settle_s(settings_);
        break;
    case Approach::kDirect:
    case Approach::kFromFreeRun:
        step.acquire_s = settings_.acquire_s;
        break;
    }
    wanted = step;
    return nullptr;
}

bool SweepWalk::free_run(SweepPart part, std::optional<analysis::Figure>& figure) {
    const StepResult* r = ask(part, Approach::kNoSync, 0);
    if (r == nullptr) {
        return false;
    }
    const std::string name = std::string(vertical(settings_) ? "v_" : "h_") + word(part) + "_hz";
    const std::string what = text(part);
    figure = r->board_hz > 0 ? analysis::measured(name, what, "Hz", r->board_hz, r->board_u_hz,
                                                  r->edges, "least squares over retrace edges")
                             : analysis::not_measured(name, what, "Hz", r->reason);
    return true;
}

// The set rate, or else rates near the free run: a board whose oscillator is off locks there.
bool SweepWalk::find_anchor() {
    const StepResult* r = ask(SweepPart::nominal, Approach::kFromFreeRun, settings_.nominal_hz);
    if (r == nullptr) {
        return false;
    }
    summary.nominal_state = r->state;
    summary.locks_at_nominal = locked(*r);
    anchor_hz_ = locked(*r) ? settings_.nominal_hz : 0;
    anchor_acquired_s_ = r->acquired_s;
    const auto& free = summary.free_run_before;
    if (anchor_hz_ > 0 || !free || free->status != analysis::FigureStatus::kMeasured) {
        return true;
    }
    for (const double share : {1.003, 1.015, 1.03, 0.99}) {
        const double rate = free->value * share;
        if (rate < settings_.low_hz || rate > settings_.high_hz) {
            continue;
        }
        const double near = vertical(settings_) ? std::round(rate * 1000) / 1000 : std::round(rate);
        r = ask(SweepPart::nominal, Approach::kFromFreeRun, near);
        if (r == nullptr) {
            return false;
        }
        if (locked(*r)) {
            anchor_hz_ = near;
            anchor_acquired_s_ = r->acquired_s;
            return true;
        }
    }
    return true;
}

bool SweepWalk::hold(Side side, Limit& limit) {
    const double sign = side == Side::kUp ? 1 : -1;
    const double end = side == Side::kUp ? settings_.high_hz : settings_.low_hz;
    const SweepPart part = side == Side::kUp ? SweepPart::hold_up : SweepPart::hold_down;
    double held = anchor_hz_;
    double lost = 0;
    bool again = false;
    // Coarse steps up to the loss; then fine ones, over the rate it was lost at as well: a loop may
    // swing out of lock in a coarse step to a rate that it holds when taken there slowly.
    for (const double step : {settings_.step_hz, settings_.resolution_hz}) {
        lost = 0;
        while (lost == 0 && sign * (end - held) > kRateSlackHz) {
            const double next = sign * (end - held) > step ? held + sign * step : end;
            const StepResult* r = ask(part, Approach::kFromLock, next, held, step);
            if (r == nullptr) {
                return false;
            }
            if (r->state == BoardState::undecided && !again &&
                std::abs(held - anchor_hz_) > kRateSlackHz) {
                // At the very limit a rate may have held once and not be found again: from farther
                // in.
                again = true;
                held = std::abs(held - anchor_hz_) > settings_.step_hz
                           ? held - sign * settings_.step_hz
                           : anchor_hz_;
                continue;
            }
            if (r->state == BoardState::undecided) { // neither held nor lost
                limit = {LimitStatus::kNotMeasured, held, 0, -1, r->reason};
                return true;
            }
            (locked(*r) ? held : lost) = next;
            limit.reason = locked(*r) ? limit.reason : r->reason;
        }
        if (lost == 0) {
            limit = {LimitStatus::kBeyond, held, 0, -1,
                     "still locked at the end of the range that was swept"};
            return true;
        }
    }
    limit.status = LimitStatus::kFound;
    limit.locked_hz = held;
    limit.lost_hz = lost;
    return true;
}

bool SweepWalk::come_back(Side side, const Limit& held, Limit& limit) {
    const double sign = side == Side::kUp ? 1 : -1;
    const SweepPart part = side == Side::kUp ? SweepPart::return_down : SweepPart::return_up;
    if (held.status != LimitStatus::kFound) {
        limit.reason = "lock was not lost on this side";
        return true;
    }
    double lost = held.lost_hz;
    // Fine steps first, where a triggered oscillator comes back; coarse ones for a loop.
    double step = settings_.resolution_hz;
    while (sign * (lost - anchor_hz_) > kRateSlackHz) {
        const double next =
            sign * (lost - sign * step - anchor_hz_) < 0 ? anchor_hz_ : lost - sign * step;
        const StepResult* r = ask(part, Approach::kFromNoLock, next, lost);
        if (r == nullptr) {
            return false;
        }
        if (locked(*r)) {
            limit = {LimitStatus::kFound, next, lost, -1, {}};
            return true;
        }
        lost = next;
        step = std::min(settings_.step_hz, 2 * step);
    }
    limit = {LimitStatus::kNone, 0, lost, -1, "it was not regained on the way back"};
    return true;
}

bool SweepWalk::pull_in(Side side, const Limit& held, Limit& limit) {
    const SweepPart part = side == Side::kUp ? SweepPart::pull_in_up : SweepPart::pull_in_down;
    if (held.status != LimitStatus::kFound && held.status != LimitStatus::kBeyond) {
        limit.reason = "the hold limit is not known, and pull-in is looked for inside it";
        return true;
    }
    double good = anchor_hz_;
    double acquired_s = anchor_acquired_s_;
    double bad = 0;
    double trial = held.locked_hz; // pull-in never exceeds hold: begin there
    for (int i = 0; i < kMostBisections; ++i) {
        if (std::abs(trial - good) > kRateSlackHz) {
            const StepResult* r = ask(part, Approach::kFromFreeRun, trial);
            if (r == nullptr) {
                return false;
            }
            if (locked(*r)) {
                good = trial;
                acquired_s = r->acquired_s;
            } else {
                bad = trial;
                limit.reason = r->reason;
            }
        }
        if (bad == 0) {
            const bool beyond = held.status == LimitStatus::kBeyond;
            limit = {beyond ? LimitStatus::kBeyond : LimitStatus::kFound, good, held.lost_hz,
                     acquired_s, beyond ? held.reason : ""};
            return true;
        }
        if (std::abs(bad - good) <= settings_.resolution_hz + kRateSlackHz) {
            break;
        }
        // On the grid of the resolution, as the hold limits are.
        const double steps = std::round((bad - good) / 2 / settings_.resolution_hz);
        trial = steps == 0 ? (good + bad) / 2 : good + steps * settings_.resolution_hz;
    }
    limit.status = LimitStatus::kFound;
    limit.locked_hz = good;
    limit.lost_hz = bad;
    limit.acquired_s = acquired_s;
    return true;
}

// Sync is removed and comes back narrower; the set rate, or where the board locks if not there.
bool SweepWalk::narrow(std::optional<NarrowLimit>& limit) {
    limit.emplace();
    if (anchor_hz_ == 0) {
        limit->reason = "the board locked at none of the rates tried";
        return true;
    }
    limit->rate_hz = anchor_hz_;
    const auto pulse_s = [&](double part) {
        return lock::narrow_sync(settings_.axis, settings_.sync, part).pulse_s;
    };
    double good = 1;
    double bad = 0;
    limit->acquired_s = anchor_acquired_s_;
    double trial = least_sync_part(settings_.axis, settings_.sync);
    while (good - bad > kPartResolution) {
        const StepResult* r =
            ask(SweepPart::narrow_sync, Approach::kFromFreeRun, anchor_hz_, 0, 0, trial);
        if (r == nullptr) {
            return false;
        }
        (locked(*r) ? good : bad) = trial;
        if (locked(*r)) {
            limit->acquired_s = r->acquired_s;
        } else {
            limit->reason = r->reason;
        }
        if (bad == 0) { // the narrowest there is
            break;
        }
        trial = (good + bad) / 2;
    }
    limit->status = bad == 0 ? LimitStatus::kBeyond : LimitStatus::kFound;
    limit->locked_part = good;
    limit->lost_part = bad;
    limit->locked_s = pulse_s(good);
    limit->lost_s = bad > 0 ? pulse_s(bad) : 0;
    return true;
}

void SweepWalk::run() {
    SweepSummary& s = summary;
    if (!free_run(SweepPart::free_run_before, s.free_run_before) || !find_anchor()) {
        return;
    }
    if (anchor_hz_ > 0) {
        if (!hold(Side::kDown, s.hold_low) ||
            (settings_.returns && !come_back(Side::kDown, s.hold_low, s.return_low)) ||
            !hold(Side::kUp, s.hold_high) ||
            (settings_.returns && !come_back(Side::kUp, s.hold_high, s.return_high))) {
            return;
        }
        if (settings_.pull_in && (!pull_in(Side::kDown, s.hold_low, s.pull_in_low) ||
                                  !pull_in(Side::kUp, s.hold_high, s.pull_in_high))) {
            return;
        }
    } else {
        for (Limit* limit : {&s.hold_low, &s.hold_high, &s.pull_in_low, &s.pull_in_high,
                             &s.return_low, &s.return_high}) {
            *limit = {LimitStatus::kNone, 0, 0, -1, "the board locked at none of the rates tried"};
        }
    }
    if (settings_.narrow_sync && !narrow(s.narrow_sync)) {
        return;
    }
    if (!free_run(SweepPart::free_run_after, s.free_run_after)) {
        return;
    }
    s.complete = true;
}

} // namespace yokedock::lock
