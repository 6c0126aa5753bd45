// SPDX-License-Identifier: MIT
#include "host/lock/judge.hpp"
#include "host/analysis/period_walk.hpp"
#include "host/analysis/phase.hpp"
#include "host/lock/phase_course.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <numeric>

namespace yokedock::lock {
namespace {

constexpr std::size_t kLeastEdges = 6;
constexpr double kFreeRunShare = 0.002; // nearer than this to the free run is the free run

std::vector<double> after(const std::vector<double>& times, double from_s) {
    return {std::lower_bound(times.begin(), times.end(), from_s), times.end()};
}

// A rate near a simple ratio is locked there only while its phase against that ratio stands still.
bool steady_ratio(const analysis::PeriodFit& edges, const analysis::PeriodFit& sync, double p,
                  double q) {
    const double off = edges.rate_hz / (sync.rate_hz * p / q) - 1;
    return std::abs(off) * edges.duration_s * sync.rate_hz < 2 * kSteadyDrift * q;
}

void judge_ratio(const analysis::PeriodFit& edges, const analysis::PeriodFit& sync, Verdict& v) {
    for (int q = 1; q <= 4; ++q) {
        for (int p = 1; p <= 4; ++p) {
            if (std::gcd(p, q) != 1 || p == q || !steady_ratio(edges, sync, p, q)) {
                continue;
            }
            v.state = p == 1 && q == 2   ? BoardState::half_rate
                      : p == 2 && q == 1 ? BoardState::double_rate
                                         : BoardState::other_ratio;
            v.reason = fmt::format("the board makes {} retrace{} for {} sync period{}, steadily", p,
                                   p == 1 ? "" : "s", q, q == 1 ? "" : "s");
            return;
        }
    }
}

void free_or_slipping(const Watch& watch, Verdict& v) {
    const double off = watch.free_run_hz > 0 ? std::abs(v.board_hz / watch.free_run_hz - 1) : 1;
    if (off < kFreeRunShare) {
        v.state = BoardState::free_running;
        v.reason = fmt::format("runs at its own rate of {:.4f} Hz; {}", v.board_hz, v.reason);
    } else {
        v.state = BoardState::slipping;
    }
}

} // namespace

double least_dwell_s(double beat_hz) {
    return 2 * kSteadyDrift / beat_hz;
}

Verdict judge(const Watch& watch) {
    Verdict v;
    v.edges = static_cast<std::uint32_t>(watch.edge_s.size());
    if (watch.edge_s.size() < 3) {
        v.state = BoardState::no_pulse;
        v.reason = fmt::format("{} retrace edges were seen; expected one per period: look at the "
                               "comparator's lead and at the output stage",
                               watch.edge_s.size());
        return v;
    }
    const auto all = analysis::fit_period(watch.edge_s, watch.resolution_s, watch.unwatched);
    if (all) {
        v.board_hz = all->rate_hz;
        v.board_u_hz = all->rate_u_hz;
        v.jitter_s = all->timing_sd_s;
    }
    const auto sync = analysis::fit_period(watch.sync_s, 0);
    if (!sync) {
        v.state = all ? BoardState::free_running : BoardState::undecided;
        v.board_u_hz = all ? analysis::free_running_u_hz(*all) : 0;
        v.reason = all ? "no sync is sent" : "its edges keep no period";
        return v;
    }
    if (watch.edge_s.size() < kLeastEdges) {
        v.reason = fmt::format("only {} retrace edges; expected {}: dwell for longer",
                               watch.edge_s.size(), kLeastEdges);
        return v;
    }
    PhaseCourse course = phase_course(watch.edge_s, *sync);
    if (course.edge_s.size() < kLeastEdges) {
        v.reason =
            fmt::format("only {} retrace edges since sync came; expected {}: dwell for longer",
                        course.edge_s.size(), kLeastEdges);
        return v;
    }
    remove_repeating(course, watch.repeat_s);
    const std::size_t from = settled_from(course, kSettledPhase);
    // A beat seen at half rate may rest for a few edges only: that is no settling.
    const bool settled =
        from < course.phase.size() && course.phase.size() - from >= 2 * kLeastEdges;
    const double begin_s = course.edge_s[settled ? from : 0];
    // The last of settling is no drift: steadiness is asked of the later half, or of the dwell.
    const double end_s = course.edge_s.back();
    const double judged_s =
        std::max(begin_s, end_s - std::max(watch.steady_s, (end_s - begin_s) / 2));
    const auto edges = analysis::fit_period(after(course.edge_s, settled ? judged_s : begin_s),
                                            watch.resolution_s, watch.unwatched);
    if (!edges) {
        v.reason = "its edges keep no period";
        return v;
    }
    v.board_hz = edges->rate_hz;
    v.board_u_hz = edges->rate_u_hz;
    v.jitter_s = edges->timing_sd_s;
    const analysis::PhaseTrack track = analysis::track_phase(*sync, *edges);
    analysis::LockCriteria criteria;
    criteria.drift_bound = kSteadyDrift;
    criteria.min_edges = kLeastEdges;
    const analysis::LockDecision decision = analysis::decide_lock(track, criteria);
    v.phase = decision.phase;
    v.phase_u = decision.phase_u;
    v.slips = decision.slips;
    v.reason = decision.text;
    const double stood_s = end_s - begin_s + 1.5 * sync->period_s;
    if (decision.state == analysis::LockState::kLocked && stood_s < watch.steady_s) {
        // The slow part of a slip looks like this, too.
        v.state = BoardState::slipping;
        v.reason =
            fmt::format("its phase stood still for the last {:.3g} s only; expected {:.3g} s",
                        stood_s, watch.steady_s);
        return v;
    }
    const double hidden = std::abs(decision.drift) + 3 * decision.drift_u;
    if (decision.state == analysis::LockState::kLocked && watch.beat_hz > 0 &&
        hidden > std::max(kSteadyDrift, watch.beat_hz * decision.dwell_s)) {
        v.reason =
            fmt::format("jitter of {:.2g} % of a period hides whether it drifts as a beat of "
                        "{:g} Hz would in {:.3g} s: dwell for longer",
                        100 * v.jitter_s / sync->period_s, watch.beat_hz, decision.dwell_s);
        return v;
    }
    if (decision.state == analysis::LockState::kLocked) {
        v.state = BoardState::locked; // unsettled: steady on average, but jitters from the start
        v.acquired_s = settled ? std::max(0.0, begin_s - watch.sync_s.front()) : 0;
        return v;
    }
    if (decision.state == analysis::LockState::kUndecided) {
        return v;
    }
    judge_ratio(*edges, *sync, v);
    if (v.state == BoardState::undecided) {
        free_or_slipping(watch, v);
    }
    return v;
}

} // namespace yokedock::lock
