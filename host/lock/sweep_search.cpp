// SPDX-License-Identifier: MIT
#include "host/lock/sweep_search.hpp"
#include "host/lock/sweep_walk.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>

namespace yokedock::lock {
namespace {

double seconds_of(const SweepStep& step) {
    const double release = step.approach == Approach::kFromFreeRun ? 0.3 : 0;
    return step.dwell_s + step.acquire_s + release + 0.04; // two fields for the change itself
}

// Steps still to come, as a board with usual ranges would need them.
double expected_steps(const SweepSettings& s) {
    const double hold = s.axis == SweepAxis::kVertical ? 6 : 800; // Hz a side
    const double coarse = std::min(hold, (s.high_hz - s.low_hz) / 2) / s.step_hz;
    const double fine = s.step_hz / s.resolution_hz;
    const double back = s.returns ? 8 : 0;
    const double pull = s.pull_in ? 7 : 0;
    return 3 + 2 * (coarse + fine + back + pull);
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
    if (!next_) {
        return 1;
    }
    const double done = static_cast<double>(results_.size());
    const double expected = expected_steps(settings_);
    return std::min(0.97, done < 0.9 * expected ? done / expected : 0.9 + 0.07 * done / (done + 9));
}

double SweepSearch::seconds_left() const {
    if (!next_) {
        return 0;
    }
    const double left = expected_steps(settings_) - static_cast<double>(results_.size());
    return std::max(3.0, left) * seconds_of(*next_);
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
