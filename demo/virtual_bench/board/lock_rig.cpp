// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/lock_rig.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>

namespace yokedock::sim {

namespace {

constexpr double kClockHz = 16e6;
constexpr double kLongestFieldS = 0.1; // 2000 half lines at 10 kHz

wire::SyncAchieved plan_of(const wire::SyncSettings& settings) {
    const sync::PlanResult plan = sync::make_plan(settings, static_cast<std::uint32_t>(kClockHz));
    assert(plan.ok);
    return plan.achieved;
}

} // namespace

void LockRig::start_sync(const wire::SyncSettings& settings, double delay_s) {
    run_for(0);
    sync_.emplace(plan_of(settings), kClockHz, now_s() + delay_s);
}

void LockRig::remove_sync() {
    if (sync_) {
        sync_->set_output(false);
        run_for(kLongestFieldS);
        sync_.reset();
    }
}

void LockRig::change(const wire::SyncSettings& settings) {
    sync_->change_plan(plan_of(settings));
    const double give_up_s = now_s() + 2 * kLongestFieldS;
    while (sync_->change_pending() && now_s() < give_up_s) {
        run(sync_->peek().time_s, nullptr);
    }
}

void LockRig::run_board(double limit_s, Seen* seen) {
    const bool line = axis_ == LockAxis::kLine;
    while (const auto edge = board_.run_until(limit_s)) {
        if (seen != nullptr && edge->line == line && edge->rising) {
            seen->edge_s.push_back(edge->time_s);
        }
    }
}

void LockRig::run(double limit_s, Seen* seen) {
    while (sync_ && sync_->peek().time_s <= limit_s) {
        const SyncEdge edge = sync_->take();
        run_board(edge.time_s, seen);
        board_.set_sync_tip(edge.time_s, edge.tip);
        const bool starts = axis_ == LockAxis::kLine ? edge.line_start : edge.field_start;
        if (seen != nullptr && starts && !seen->start_s) {
            seen->start_s = edge.time_s;
        }
    }
    run_board(limit_s, seen);
}

bool LockRig::steady(const Seen& seen, double window_s, double drift) const {
    if (!sync_ || !seen.start_s) {
        return false;
    }
    const double period_s =
        1 / (axis_ == LockAxis::kLine ? sync_->line_rate_hz() : sync_->field_rate_hz());
    const double begin_s = std::max(now_s() - window_s, *seen.start_s);
    const auto first = std::lower_bound(seen.edge_s.begin(), seen.edge_s.end(), begin_s);
    const auto edges = seen.edge_s.end() - first;
    const double periods = (now_s() - begin_s) / period_s;
    if (periods < 3 || std::fabs(static_cast<double>(edges) - periods) > 1.5) {
        return false;
    }
    double least = INFINITY;
    double most = -INFINITY;
    for (std::ptrdiff_t k = 0; k < edges; ++k) {
        // Edges are counted along with periods, so that a slip does not go unseen.
        const double phase = (first[k] - *seen.start_s) / period_s - static_cast<double>(k);
        least = std::min(least, phase);
        most = std::max(most, phase);
    }
    return most - least < drift;
}

bool LockRig::locked(double window_s, double drift) {
    Seen seen;
    run(now_s() + window_s, &seen);
    return steady(seen, window_s, drift);
}

std::optional<double> LockRig::locks_within(double seconds, double window_s, double drift) {
    Seen seen;
    const double begin_s = now_s();
    const double chunk_s = window_s / 12;
    while (now_s() - window_s <= begin_s + seconds) {
        run(now_s() + chunk_s, &seen);
        if (now_s() - begin_s >= window_s && steady(seen, window_s, drift)) {
            return now_s() - window_s - begin_s;
        }
    }
    return std::nullopt;
}

double LockRig::rate_hz(double seconds) {
    Seen seen;
    run(now_s() + seconds, &seen);
    if (seen.edge_s.size() < 3) {
        return 0;
    }
    return static_cast<double>(seen.edge_s.size() - 1) / (seen.edge_s.back() - seen.edge_s.front());
}

std::optional<double> LockRig::next_edge(double within_s) {
    Seen seen;
    const double limit_s = now_s() + within_s;
    while (seen.edge_s.empty() && now_s() < limit_s) {
        run(std::min(limit_s, now_s() + 1e-3), &seen);
    }
    return seen.edge_s.empty() ? std::nullopt : std::optional<double>(seen.edge_s.front());
}

} // namespace yokedock::sim
