// SPDX-License-Identifier: MIT
#include "host/lock/sweep_search.hpp"
#include "host/lock/sweep_walk.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>

namespace yokedock::lock {
namespace {

// What the bench needs for one step, waits for the change of sync included.
double seconds_of(const SweepSettings& s, Approach approach) {
    constexpr double kChangeS = 0.04; // two fields
    const double dwell = default_dwell_s(s);
    switch (approach) {
    case Approach::kNoSync:
        return release_s(s) + std::max(dwell, free_run_dwell_s(s));
    case Approach::kDirect:
    case Approach::kFromFreeRun:
        return release_s(s) + kChangeS + s.acquire_s + dwell;
    case Approach::kFromLock:
    case Approach::kFromNoLock:
        break;
    }
    return kChangeS + settle_s(s) + dwell;
}

// Of one part, for a board of usual ranges: 6 Hz or 500 Hz a side.
double seconds_of(const SweepSettings& s, SweepPart part) {
    const double reach =
        std::min(s.axis == SweepAxis::kVertical ? 6.0 : 500.0, (s.high_hz - s.low_hz) / 2);
    const double step = seconds_of(s, Approach::kFromLock);
    const double trial = seconds_of(s, Approach::kFromFreeRun);
    switch (part) {
    case SweepPart::free_run_before:
    case SweepPart::free_run_after:
        return seconds_of(s, Approach::kNoSync);
    case SweepPart::nominal:
        return trial;
    case SweepPart::hold_down:
    case SweepPart::hold_up: // there, back to the last coarse step, fine steps
        return (1.5 * reach / s.step_hz + 0.5 * s.step_hz / s.resolution_hz + 3) * step;
    case SweepPart::return_up:
    case SweepPart::return_down:
        return s.returns ? 4 * step : 0;
    case SweepPart::pull_in_down:
    case SweepPart::pull_in_up:
        return s.pull_in ? (1 + 0.7 * std::log2(std::max(2.0, reach / s.resolution_hz))) * trial
                         : 0;
    case SweepPart::narrow_sync:
        return s.narrow_sync ? 7 * trial : 0;
    }
    return 0;
}

double seconds_to_come(const SweepSettings& s, const SweepStep& next,
                       const std::vector<StepResult>& results) {
    double spent = 0; // in the part that is running
    for (const StepResult& r : results) {
        spent += r.step.part == next.part ? seconds_of(s, r.step.approach) : 0;
    }
    double left = std::max(seconds_of(s, next.part) - spent, seconds_of(s, next.approach));
#define X(name, word, text)                                                                        \
    left += SweepPart::name > next.part ? seconds_of(s, SweepPart::name) : 0;
    YOKEDOCK_SWEEP_PARTS(X)
#undef X
    return left;
}

} // namespace

SweepSearch::SweepSearch(SweepSettings settings) : settings_(std::move(settings)) {
    walk();
}

void SweepSearch::walk() {
    SweepWalk walk(settings_, results_);
    walk.run();
    next_ = walk.wanted;
    summary_ = walk.summary;
    double spent = 0;
    for (const StepResult& r : results_) {
        spent += seconds_of(settings_, r.step.approach);
    }
    const double part = next_ ? spent / (spent + seconds_left()) : 1;
    part_done_ = std::max(part_done_, part); // a longer way than was thought does not go back
}

void SweepSearch::add(const StepResult& result) {
    assert(next_.has_value());
    assert(result.step.number == next_->number && result.step.part == next_->part);
    results_.push_back(result);
    walk();
}

SweepSummary SweepSearch::summary() const {
    SweepSummary s = summary_;
    add_findings(s);
    return s;
}

double SweepSearch::part_done() const {
    return part_done_;
}

double SweepSearch::seconds_left() const {
    return next_ ? seconds_to_come(settings_, *next_, results_) : 0;
}

double least_seconds(const SweepSummary& s) {
    const double dwell = default_dwell_s(s.settings);
    double seconds = 3 * dwell; // free run, set rate, free run
    for (const Limit* limit : {&s.hold_low, &s.hold_high, &s.return_low, &s.return_high}) {
        seconds += limit->status == LimitStatus::kFound ? 2 * dwell : 0;
    }
    for (const Limit* limit : {&s.pull_in_low, &s.pull_in_high}) {
        // One trial that finds lock, one that has its full time and does not.
        const double found = std::max(0.0, limit->acquired_s);
        seconds +=
            limit->status == LimitStatus::kFound ? 2 * dwell + found + s.settings.acquire_s : 0;
    }
    return seconds;
}

} // namespace yokedock::lock
