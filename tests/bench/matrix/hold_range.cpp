// SPDX-License-Identifier: MIT
#include "tests/bench/matrix/hold_range.hpp"
#include <cmath>
#include <span>

namespace yokedock::matrix {
namespace {

struct Walk {
    double settle_s;
    double window_s;
    double drift; ///< periods
    std::span<const double> up_pct, down_pct;
};

constexpr double kFieldUp[] = {3, 6, 10, 14, 19, 25};
constexpr double kFieldDown[] = {-2, -4.5, -7.5, -11, -15};
constexpr double kLineUp[] = {0.4, 0.9, 1.5, 2.1, 2.9, 4, 6};
constexpr double kLineDown[] = {-0.4, -0.9, -1.5, -2.1, -2.9, -4, -6};

Walk walk_of(sim::LockAxis axis) {
    return axis == sim::LockAxis::kField ? Walk{0.09, 0.12, 0.05, kFieldUp, kFieldDown}
                                         : Walk{0.04, 0.04, 0.2, kLineUp, kLineDown};
}

analysis::Figure limit(const std::string& name, sim::LockRig rig, const wire::SyncSettings& sync,
                       sim::LockAxis axis, const Walk& walk, std::span<const double> steps) {
    double held = 0;
    double lost = NAN;
    for (const double pct : steps) {
        rig.change(sim::settings_at(sync, axis, sim::rate_of(sync, axis) * (1 + pct / 100)));
        rig.run_for(walk.settle_s);
        if (!rig.locked(walk.window_s, walk.drift)) {
            lost = pct;
            break;
        }
        held = pct;
    }
    const double end = std::isnan(lost) ? held * 1.3 : lost;
    return analysis::measured(name, name, "%", std::fabs(held + end) / 2,
                              std::fabs(end - held) / std::sqrt(12.0), steps.size(), "sweep");
}

} // namespace

analysis::FigureSet hold_range(const sim::BoardParameters& board, const wire::SyncSettings& sync,
                               sim::LockAxis axis) {
    const Walk walk = walk_of(axis);
    const std::string name = axis == sim::LockAxis::kField ? "v_hold_" : "h_hold_";
    sim::LockRig rig(board, axis);
    rig.start_sync(sync);
    rig.run_for(axis == sim::LockAxis::kField ? 0.5 : 0.25);
    if (!rig.locked(walk.window_s, walk.drift)) {
        const std::string reason = "no lock at the set rate";
        return {analysis::not_measured(name + "below_pct", name + "below_pct", "%", reason),
                analysis::not_measured(name + "above_pct", name + "above_pct", "%", reason)};
    }
    return {limit(name + "below_pct", rig, sync, axis, walk, walk.down_pct),
            limit(name + "above_pct", rig, sync, axis, walk, walk.up_pct)};
}

} // namespace yokedock::matrix
