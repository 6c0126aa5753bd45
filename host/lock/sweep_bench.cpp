// SPDX-License-Identifier: MIT
#include "host/lock/sweep_bench.hpp"
#include "host/bench/trip.hpp"
#include "host/capture/line_starts.hpp"
#include "host/lock/sweep_walk.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::lock {
namespace {

/// Beside the guard's samples the edges seen span some lines less than the capture lasts (seen on
/// the virtual bench); the phase must stand still for all of the dwell.
constexpr double kGuardedSpareS = 2e-3;

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

SweepBench::SweepBench(bench::Bench& bench, SweepSettings settings, capture::Guarding guarding)
    : bench_(bench), settings_(std::move(settings)), guarding_(guarding) {}

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
    capture::CapturePhase phase = edges_only(settings_, seconds);
    if (guarding_ == capture::Guarding::kWatched && bench_.plan()) {
        phase.seconds += kGuardedSpareS;
        capture::add_quiet_guard(phase.settings, *bench_.plan());
    }
    const capture::CaptureOutcome taken = capture::run_capture(
        bench_, phase, axis_, {}, from_off ? std::function<Status()>(switch_on) : nullptr);
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
    w.beat_hz = settings_.resolution_hz;
    if (!vertical(settings_)) {
        w.repeat_s = 1 / report_->field_rate.hz();
    }
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

Result<StepResult> SweepBench::run(const SweepStep& step) {
    auto result = run_step(step);
    if (result) {
        const bool watched = guarding_ == capture::Guarding::kWatched;
        if (const Status live = watched ? bench::still_live(bench_) : Done{}; !live) {
            result = live.error();
        }
    }
    if (!result) {
        locked_hz_ = 0;
    }
    return result;
}

Result<StepResult> SweepBench::run_step(const SweepStep& step) {
    StepResult r;
    r.step = step;
    sync_part_ = step.sync_part;
    bool from_off = false;
    double seconds = step.dwell_s;
    switch (step.approach) {
    case Approach::kNoSync:
        if (const Status off = release(step.acquire_s); !off) {
            return off.error();
        }
        break;
    case Approach::kDirect:
    case Approach::kFromFreeRun:
        if (const Status off = release(release_s(settings_)); !off) {
            return off.error();
        }
        if (const Status set = set_rate(step.rate_hz); !set) {
            return set.error();
        }
        from_off = true;
        // Until sync is there: the rest of a field, and the wire.
        seconds += step.acquire_s + 2 / report_->field_rate.hz();
        break;
    case Approach::kFromLock: {
        const auto followed = lock_at(step);
        if (!followed) {
            return followed.error();
        }
        if (!followed.value()) {
            return no_lock_to_leave(step);
        }
        if (const Status there = glide(step); !there) {
            return there.error();
        }
        break;
    }
    case Approach::kFromNoLock:
        if (std::abs(rate_hz_ - step.from_hz) > kSameRateHz || !bench_.sync_on()) {
            // Resumed: come from where it was not locked.
            if (const Status set = go_to(step.from_hz, step.acquire_s); !set) {
                return set.error();
            }
        }
        if (const Status there = go_to(step.rate_hz, step.acquire_s); !there) {
            return there.error();
        }
        break;
    }
    locked_hz_ = 0;
    const double steady_s = kSteadyPart * step.dwell_s;
    auto verdict = watch(seconds, steady_s, from_off);
    // A drift that is only the tail of settling ends; jitter averages out. Look once more, for
    // longer, before lock is called lost.
    const bool tail = verdict && step.approach == Approach::kFromLock &&
                      verdict.value().state == BoardState::slipping && verdict.value().slips == 0;
    const bool hidden = verdict && verdict.value().state == BoardState::undecided;
    if (tail || hidden) {
        verdict = watch((hidden ? 4 : 2) * step.dwell_s, steady_s, false);
        from_off = false; // when it locked was not seen
    }
    if (!verdict) {
        return verdict.error();
    }
    const Verdict& v = verdict.value();
    if (step.approach != Approach::kNoSync) {
        add_rates(r);
    }
    r.time_s = elapsed_s();
    r.state = v.state;
    r.reason = v.reason;
    r.board_hz = v.board_hz;
    r.board_u_hz = v.board_u_hz;
    r.phase = v.phase;
    r.phase_u = v.phase_u;
    r.jitter_s = v.jitter_s;
    r.acquired_s = from_off ? v.acquired_s : -1;
    r.slips = v.slips;
    r.edges = v.edges;
    if (v.state == BoardState::locked && r.acquired_s > step.acquire_s) {
        r.state = BoardState::slipping;
        r.reason = fmt::format("found lock only after {:.3g} s; {:.3g} s are allowed", r.acquired_s,
                               step.acquire_s);
        r.acquired_s = -1;
    }
    const bool locked = v.state == BoardState::locked;
    locked_hz_ = locked && step.sync_part == 1 ? step.rate_hz : 0;
    remember(r);
    return r;
}

StepResult SweepBench::no_lock_to_leave(const SweepStep& step) const {
    StepResult r;
    r.step = step;
    add_rates(r);
    r.time_s = elapsed_s();
    r.reason = fmt::format("lock could not be had again at {:.3f} Hz, where it had been: {}",
                           step.from_hz, reason_);
    return r;
}

void SweepBench::add_rates(StepResult& r) const {
    const double field = report_->field_rate.hz();
    const double line = report_->line_rate.hz();
    r.achieved_hz = vertical(settings_) ? field : line;
    r.other_rate_hz = vertical(settings_) ? line : field;
    r.half_lines = report_->plan.half_lines;
}

double SweepBench::elapsed_s() const {
    return begin_ticks_
               ? static_cast<double>(axis_.newest() - *begin_ticks_) / bench_.identity().clock_hz
               : 0;
}

void SweepBench::remember(const StepResult& r) {
    if (r.step.approach == Approach::kNoSync) {
        free_run_hz_ = r.board_hz;
    }
    if (r.state == BoardState::locked && r.step.part == SweepPart::nominal) {
        anchor_hz_ = r.step.rate_hz;
    }
}

} // namespace yokedock::lock
