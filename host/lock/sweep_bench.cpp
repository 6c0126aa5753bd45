// SPDX-License-Identifier: MIT
#include "host/lock/sweep_bench.hpp"
#include "host/capture/line_starts.hpp"
#include "host/lock/stimulus.hpp"
#include "host/lock/sweep_walk.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::lock {
namespace {

constexpr double kSameHz = 1e-6;
/// Time given to a small change on the way along a ramp: one more field than the change needs.
constexpr double kRampPauseS = 0.02;
constexpr int kGlideSteps = 5;
constexpr double kReleaseFieldS = 0.3; ///< until the board free-runs: see sweep_walk.cpp
constexpr double kReleaseLineS = 0.12;

bool vertical(const SweepSettings& s) {
    return s.axis == SweepAxis::kVertical;
}

capture::CapturePhase edges_only(const SweepSettings& s, double seconds) {
    capture::CapturePhase phase{"sweep", {}, seconds};
    const auto rising = static_cast<std::uint8_t>(wire::EdgeMode::kRising);
    (vertical(s) ? phase.settings.field_edge_mode : phase.settings.line_edge_mode) = rising;
    return phase;
}

} // namespace

SweepBench::SweepBench(bench::Bench& bench, SweepSettings settings)
    : bench_(bench), settings_(std::move(settings)) {}

Status SweepBench::wait_s(double seconds) {
    return bench_.wait_ticks(static_cast<std::uint32_t>(seconds * bench_.identity().clock_hz));
}

Status SweepBench::set_rate(double rate_hz) {
    const auto sync = sync_at(settings_, rate_hz);
    if (!sync) {
        return sync.error();
    }
    const auto report = bench_.set_sync(sync.value());
    if (!report) {
        return report.error();
    }
    report_ = report.value();
    rate_hz_ = rate_hz;
    return Done{};
}

Status SweepBench::release(double seconds) {
    locked_hz_ = 0;
    if (!bench_.plan()) { // captures are timed by a plan, sent or not
        if (const Status set = set_rate(settings_.nominal_hz); !set) {
            return set;
        }
    }
    if (const Status off = bench_.sync_output(false); !off) {
        return off;
    }
    return wait_s(seconds);
}

Result<Verdict> SweepBench::watch(double seconds, double steady_s, bool from_off) {
    std::int64_t sync_from = 0;
    const auto switch_on = [&]() -> Status {
        const auto now = bench_.status();
        if (!now) {
            return now.error();
        }
        sync_from = axis_.unwrap(now.value().time);
        return bench_.sync_output(true);
    };
    const capture::CaptureOutcome taken =
        capture::run_capture(bench_, edges_only(settings_, seconds), axis_, {},
                             from_off ? std::function<Status()>(switch_on) : nullptr);
    if (taken.error) {
        return *taken.error;
    }
    const capture::RawCapture& raw = taken.capture;
    if (!begin_ticks_) {
        begin_ticks_ = raw.begin_ticks;
    }
    const double clock_hz = bench_.identity().clock_hz;
    const auto seconds_of = [&](std::int64_t ticks) {
        return static_cast<double>(ticks - *begin_ticks_) / clock_hz;
    };
    Watch w;
    w.resolution_s = 1 / clock_hz;
    w.free_run_hz = free_run_hz_;
    w.steady_s = steady_s;
    const capture::RawEdges& edges = vertical(settings_) ? raw.field_edges : raw.line_edges;
    for (const std::int64_t t : edges.ticks) {
        w.edge_s.push_back(seconds_of(t));
    }
    const auto kind =
        vertical(settings_) ? wire::BlockKind::kFieldEdges : wire::BlockKind::kLineEdges;
    for (const capture::RawGap& gap : raw.gaps) {
        if (gap.kind == kind) {
            w.unwatched.push_back({seconds_of(gap.begin_ticks), seconds_of(gap.end_ticks)});
        }
    }
    if (bench_.sync_on()) {
        // Sync goes on where a field begins.
        const auto first = std::lower_bound(raw.field_starts.ticks.begin(),
                                            raw.field_starts.ticks.end(), sync_from);
        const std::int64_t from = first == raw.field_starts.ticks.end() ? sync_from : *first;
        const std::vector<std::int64_t> starts =
            vertical(settings_) ? raw.field_starts.ticks : capture::line_starts(raw);
        for (const std::int64_t t : starts) {
            if (t >= from || !from_off) {
                w.sync_s.push_back(seconds_of(t));
            }
        }
    }
    return judge(w);
}

Result<bool> SweepBench::lock_at(const SweepStep& step) {
    if (locked_hz_ > 0 && std::abs(locked_hz_ - step.from_hz) < kSameHz &&
        std::abs(rate_hz_ - step.from_hz) < kSameHz) {
        return true;
    }
    locked_hz_ = 0;
    const double anchor = anchor_hz_ > 0 ? anchor_hz_ : settings_.nominal_hz;
    if (const Status set = set_rate(anchor); !set) {
        return set.error();
    }
    if (!bench_.sync_on()) {
        if (const Status on = bench_.sync_output(true); !on) {
            return on.error();
        }
    }
    const auto at_anchor = watch(settings_.acquire_s + step.dwell_s, step.dwell_s, false);
    if (!at_anchor) {
        return at_anchor.error();
    }
    if (at_anchor.value().state != BoardState::locked) {
        return false;
    }
    const double way = step.from_hz - anchor;
    const int steps = static_cast<int>(std::ceil(std::abs(way) / step.ramp_step_hz - kSameHz));
    for (int i = 1; i <= steps; ++i) {
        if (const Status set = set_rate(i == steps ? step.from_hz : anchor + way * i / steps);
            !set) {
            return set.error();
        }
        if (const Status paused = wait_s(kRampPauseS); !paused) {
            return paused.error();
        }
    }
    locked_hz_ = step.from_hz;
    return true;
}

// A fine step away from lock is itself taken in small ones, a field each: just short of its limit a
// line loop swings out at a step of 10 Hz that it holds when taken there slowly.
Status SweepBench::glide(const SweepStep& step) {
    const double way = step.rate_hz - step.from_hz;
    const bool fine = step.approach == Approach::kFromLock && !vertical(settings_) &&
                      std::abs(way) <= 1.5 * settings_.resolution_hz;
    for (int i = 1; fine && i < kGlideSteps; ++i) {
        if (const Status set = set_rate(step.from_hz + way * i / kGlideSteps); !set) {
            return set;
        }
        if (const Status paused = wait_s(kRampPauseS); !paused) {
            return paused;
        }
    }
    return set_rate(step.rate_hz);
}

Result<StepResult> SweepBench::run(const SweepStep& step) {
    auto result = run_step(step);
    if (!result) {
        locked_hz_ = 0;
    }
    return result;
}

Result<StepResult> SweepBench::run_step(const SweepStep& step) {
    StepResult r;
    r.step = step;
    bool from_off = false;
    double seconds = step.dwell_s;
    bool can_lock = true;
    switch (step.approach) {
    case Approach::kNoSync:
        if (const Status off = release(step.acquire_s); !off) {
            return off.error();
        }
        break;
    case Approach::kDirect:
    case Approach::kFromFreeRun:
        if (const Status off = release(vertical(settings_) ? kReleaseFieldS : kReleaseLineS);
            !off) {
            return off.error();
        }
        if (const Status set = set_rate(step.rate_hz); !set) {
            return set.error();
        }
        from_off = true;
        seconds += step.acquire_s;
        break;
    case Approach::kFromLock: {
        const auto followed = lock_at(step);
        if (!followed) {
            return followed.error();
        }
        can_lock = followed.value();
        [[fallthrough]];
    }
    case Approach::kFromNoLock:
        locked_hz_ = 0;
        if (step.approach == Approach::kFromNoLock && std::abs(rate_hz_ - step.from_hz) > kSameHz) {
            // Resumed: come from where it was not locked.
            if (const Status set = set_rate(step.from_hz); !set) {
                return set.error();
            }
        }
        if (const Status gone = glide(step); !gone) {
            return gone.error();
        }
        if (!bench_.sync_on()) {
            if (const Status on = bench_.sync_output(true); !on) {
                return on.error();
            }
        }
        if (const Status settled = wait_s(step.acquire_s); !settled) {
            return settled.error();
        }
        break;
    }
    // What the capture loses at its ends is no reason to call a lock short.
    const double steady_s = 0.9 * step.dwell_s;
    auto verdict = watch(seconds, steady_s, from_off);
    // A drift that is only the tail of settling ends; look once more before lock is called lost.
    if (verdict && step.approach == Approach::kFromLock &&
        verdict.value().state == BoardState::slipping && verdict.value().slips == 0) {
        verdict = watch(2 * seconds, steady_s, false);
    }
    if (!verdict) {
        return verdict.error();
    }
    const Verdict& v = verdict.value();
    if (step.approach == Approach::kNoSync) {
        free_run_hz_ = v.board_hz;
    } else {
        const double field = report_->field_rate.hz();
        const double line = report_->line_rate.hz();
        r.achieved_hz = vertical(settings_) ? field : line;
        r.other_rate_hz = vertical(settings_) ? line : field;
        r.half_lines = report_->plan.half_lines;
    }
    r.time_s = begin_ticks_ ? static_cast<double>(axis_.newest() - *begin_ticks_) /
                                  bench_.identity().clock_hz
                            : 0;
    r.state = v.state;
    r.reason = can_lock ? v.reason
                        : "lock could not be had again at the rate it had locked at: " + v.reason;
    r.board_hz = v.board_hz;
    r.board_u_hz = v.board_u_hz;
    r.phase = v.phase;
    r.phase_u = v.phase_u;
    r.jitter_s = v.jitter_s;
    r.acquired_s = from_off ? v.acquired_s : -1;
    r.slips = v.slips;
    r.edges = v.edges;
    const bool locked = v.state == BoardState::locked;
    locked_hz_ = locked ? step.rate_hz : 0;
    if (locked && step.part == SweepPart::nominal) {
        anchor_hz_ = step.rate_hz;
    }
    return r;
}

} // namespace yokedock::lock
