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

wire::SyncSettings off_by(const wire::SyncSettings& sync, sim::LockAxis axis, double pct) {
    return sim::settings_at(sync, axis, sim::rate_of(sync, axis) * (1 + pct / 100));
}

analysis::Figure limit(const std::string& name, sim::LockRig rig, const wire::SyncSettings& sync,
                       sim::LockAxis axis, const Walk& walk, std::span<const double> steps) {
    double held = 0;
    double lost = NAN;
    for (const double pct : steps) {
        rig.change(off_by(sync, axis, pct));
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

/// Farthest offset between good (found) and bad (not), in percent, halved `halvings` times.
struct Between {
    double good = 0;
    double bad = 0;
};

template <class Good> Between halved(Between range, int halvings, Good good) {
    for (int k = 0; k < halvings; ++k) {
        const double middle = (range.good + range.bad) / 2;
        (good(middle) ? range.good : range.bad) = middle;
    }
    return range;
}

/// From free run, sync applied at once: is lock found within 0.2 s?
bool pulls_in(const sim::LockRig& free_running, const wire::SyncSettings& sync, double pct) {
    sim::LockRig rig = free_running;
    rig.start_sync(off_by(sync, sim::LockAxis::kLine, pct));
    return rig.locks_within(0.2, 0.03, 0.2).has_value();
}

/// Of the line. The hold limits are narrowed first, as coarse ones would be most of the share.
analysis::Figure pull_in_share(const sim::LockRig& locked, const wire::SyncSettings& sync,
                               const analysis::FigureSet& coarse) {
    const std::string name = "h_pull_in_share_pct";
    sim::LockRig free_running = locked;
    free_running.remove_sync();
    free_running.run_for(0.02);
    double hold = 0, found = 0, hold_u = 0, found_u = 0;
    for (const analysis::Figure& limit : coarse) {
        const double sign = limit.name.find("below") != std::string::npos ? -1 : 1;
        const double half = limit.u * std::sqrt(12.0) / 2; // u: a step, evenly spread
        const auto holds = [&](double pct) {
            sim::LockRig rig = locked;
            for (const double part : {0.7, 1.0}) { // slowly, or it slips on the way
                rig.change(off_by(sync, sim::LockAxis::kLine, sign * part * pct));
                rig.run_for(0.02);
            }
            rig.run_for(0.02);
            return rig.locked(0.04, 0.2);
        };
        const Between held = halved({limit.value - half, limit.value + half}, 2, holds);
        const Between caught = halved(
            {0, held.bad}, 3, [&](double pct) { return pulls_in(free_running, sync, sign * pct); });
        hold += (held.good + held.bad) / 2;
        found += (caught.good + caught.bad) / 2;
        hold_u = std::hypot(hold_u, (held.bad - held.good) / std::sqrt(12.0));
        found_u = std::hypot(found_u, (caught.bad - caught.good) / std::sqrt(12.0));
    }
    const double share = 100 * found / hold;
    return analysis::measured(name, name, "%", share,
                              share * std::hypot(hold_u / hold, found_u / found), 4, "sweep");
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
    analysis::FigureSet out{limit(name + "below_pct", rig, sync, axis, walk, walk.down_pct),
                            limit(name + "above_pct", rig, sync, axis, walk, walk.up_pct)};
    if (axis == sim::LockAxis::kLine) {
        out.push_back(pull_in_share(rig, sync, out));
    }
    return out;
}

} // namespace yokedock::matrix
