// SPDX-License-Identifier: MIT
// How a bench gets to the rate of a step: SweepBench's moves.
#include "host/lock/stimulus.hpp"
#include "host/lock/sweep_bench.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::lock {
namespace {

/// Time given to a small change on the way along a ramp: one more field than the change needs.
constexpr double kRampPauseS = 0.02;
constexpr int kGlideSteps = 5;

} // namespace

Status SweepBench::wait_s(double seconds) {
    return bench_.wait_ticks(static_cast<std::uint32_t>(seconds * bench_.identity().clock_hz));
}

Status SweepBench::set_rate(double rate_hz) {
    const auto sync = sync_at(settings_, rate_hz);
    if (!sync) {
        return sync.error();
    }
    const auto report = bench_.set_sync(
        sync_part_ < 1 ? narrow_sync(settings_.axis, sync.value(), sync_part_).settings
                       : sync.value());
    if (!report) {
        return report.error();
    }
    report_ = report.value();
    rate_hz_ = rate_hz;
    return Done{};
}

Status SweepBench::release(double seconds) {
    locked_hz_ = 0;
    if (!report_) { // captures are timed by a plan, sent or not
        if (const Status set = set_rate(settings_.nominal_hz); !set) {
            return set;
        }
    }
    if (const Status off = bench_.sync_output(false); !off) {
        return off;
    }
    return wait_s(seconds);
}

Status SweepBench::go_to(double rate_hz, double settle_s) {
    if (const Status set = set_rate(rate_hz); !set) {
        return set;
    }
    if (const Status on = switch_on(); !on) {
        return on;
    }
    return wait_s(settle_s);
}

// A fine step of a line sweep is itself taken in small ones: just short of its limit a loop swings
// out at a step of 10 Hz to a rate that it holds when taken there slowly.
Status SweepBench::glide(const SweepStep& step) {
    const double way = step.rate_hz - step.from_hz;
    const bool fine = settings_.axis == SweepAxis::kHorizontal &&
                      std::abs(way) <= settings_.resolution_hz + kSameRateHz;
    for (int i = 1; fine && i < kGlideSteps; ++i) {
        if (const Status there = go_to(step.from_hz + way * i / kGlideSteps, 0); !there) {
            return there;
        }
    }
    return go_to(step.rate_hz, step.acquire_s);
}

Status SweepBench::switch_on() {
    return bench_.sync_on() ? Status(Done{}) : bench_.sync_output(true);
}

Result<bool> SweepBench::lock_at_anchor(const SweepStep& step) {
    if (const Status set = set_rate(anchor_hz_ > 0 ? anchor_hz_ : settings_.nominal_hz); !set) {
        return set.error();
    }
    if (const Status on = switch_on(); !on) {
        return on.error();
    }
    for (double spent_s = 0; spent_s <= settings_.acquire_s; spent_s += 2 * step.dwell_s) {
        const auto seen = watch(2 * step.dwell_s, kSteadyPart * step.dwell_s, false);
        if (!seen) {
            return seen.error();
        }
        if (seen.value().state == BoardState::locked) {
            return true;
        }
        reason_ = seen.value().reason;
    }
    return false;
}

// Coarse steps, which held on the way before, up to where one may have swung the board out; then
// those of the step. The second time smaller ones all the way, as a slow departure takes them.
Status SweepBench::ramp(const SweepStep& step, bool again) {
    const double pause_s = again ? 2 * kRampPauseS : kRampPauseS;
    const double far_hz = again ? step.ramp_step_hz : settings_.step_hz;
    const double near_hz = again ? step.ramp_step_hz / kGlideSteps : step.ramp_step_hz;
    double at_hz = rate_hz_;
    while (std::abs(step.from_hz - at_hz) > kSameRateHz) {
        const double left = step.from_hz - at_hz;
        const double size = std::abs(left) > 3 * settings_.step_hz ? far_hz : near_hz;
        at_hz =
            std::abs(left) <= size + kSameRateHz ? step.from_hz : at_hz + std::copysign(size, left);
        if (const Status set = set_rate(at_hz); !set) {
            return set;
        }
        if (const Status paused = wait_s(pause_s); !paused) {
            return paused;
        }
    }
    return Done{};
}

Result<bool> SweepBench::lock_at(const SweepStep& step) {
    if (locked_hz_ > 0 && std::abs(locked_hz_ - step.from_hz) < kSameRateHz &&
        std::abs(rate_hz_ - step.from_hz) < kSameRateHz) {
        return true;
    }
    locked_hz_ = 0;
    reason_.clear();
    for (const bool again : {false, true}) {
        const auto acquired = lock_at_anchor(step);
        if (!acquired) {
            return acquired.error();
        }
        if (!acquired.value()) {
            continue;
        }
        if (const Status there = ramp(step, again); !there) {
            return there.error();
        }
        const auto held = watch(step.dwell_s, kSteadyPart * step.dwell_s, false);
        if (!held) {
            return held.error();
        }
        if (held.value().state == BoardState::locked) {
            locked_hz_ = step.from_hz;
            return true;
        }
        reason_ = held.value().reason;
    }
    return false;
}

} // namespace yokedock::lock
