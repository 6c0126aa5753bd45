// SPDX-License-Identifier: MIT
#include "host/lock/judge.hpp"
#include "host/analysis/phase.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <numeric>

namespace yokedock::lock {
namespace {

constexpr std::size_t kLeastEdges = 6;
constexpr double kFreeRunShare = 0.002; // nearer than this to the free run is the free run

// Phase of every edge, counted through from edge to edge by nearest turns.
struct Phases {
    std::vector<double> time_s, phase;
};

Phases phases_of(const Watch& watch, const analysis::PeriodFit& sync) {
    Phases p;
    const double origin = sync.run_start_s.front();
    double turns = 0;
    for (const double edge : watch.edge_s) {
        if (edge < watch.sync_s.front()) {
            continue;
        }
        const double x = (edge - origin) / sync.period_s;
        double phase = x - std::floor(x);
        if (!p.phase.empty()) {
            turns += std::round(p.phase.back() - turns - phase);
        }
        p.time_s.push_back(edge);
        p.phase.push_back(phase + turns);
    }
    return p;
}

// First index from which the phase stays near its last place; size when it never does.
std::size_t settled_from(const Phases& p) {
    const std::size_t last = std::max<std::size_t>(3, p.phase.size() / 8);
    double place = 0;
    for (std::size_t i = p.phase.size() - last; i < p.phase.size(); ++i) {
        place += p.phase[i] / static_cast<double>(last);
    }
    std::size_t from = p.phase.size();
    int outside = 0; // a lone stray edge does not unsettle
    while (from > 0) {
        outside = std::abs(p.phase[from - 1] - place) > kSettledPhase ? outside + 1 : 0;
        if (outside == 2) {
            return from + 1;
        }
        --from;
    }
    return static_cast<std::size_t>(outside);
}

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
        v.reason = all ? "no sync is sent" : "its edges keep no period";
        return v;
    }
    if (watch.edge_s.size() < kLeastEdges) {
        v.reason = fmt::format("only {} retrace edges; expected {}: dwell for longer",
                               watch.edge_s.size(), kLeastEdges);
        return v;
    }
    const Phases p = phases_of(watch, *sync);
    const std::size_t from = settled_from(p);
    // A beat seen at half rate may rest for a few edges only: that is no settling.
    const bool settled = from < p.phase.size() && p.phase.size() - from >= 2 * kLeastEdges;
    const double begin_s = settled ? p.time_s[from] : watch.edge_s.front();
    // The last of settling is no drift: steadiness is asked of the later half, or of the dwell.
    const double end_s = watch.edge_s.back();
    const double judged_s =
        std::max(begin_s, end_s - std::max(watch.steady_s, (end_s - begin_s) / 2));
    const auto edges = analysis::fit_period(after(watch.edge_s, settled ? judged_s : begin_s),
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
    const double stood_s = watch.edge_s.back() - begin_s + 1.5 * sync->period_s;
    if (decision.state == analysis::LockState::kLocked && stood_s < watch.steady_s) {
        // The slow part of a slip looks like this, too.
        v.state = BoardState::slipping;
        v.reason =
            fmt::format("its phase stood still for the last {:.3g} s only; expected {:.3g} s",
                        stood_s, watch.steady_s);
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
