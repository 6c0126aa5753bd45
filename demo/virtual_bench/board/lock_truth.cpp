// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/lock_truth.hpp"
#include "demo/virtual_bench/board/lock_rig.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>

namespace yokedock::sim {

namespace {

constexpr std::uint32_t kLineDenominator = 20000; // line rates in steps of 50 uHz
constexpr double kFreeRunS = 1.0;
constexpr int kSettleFields = 3;
constexpr int kMissesEnd =
    6; // so many rates in a row, a resolution apart: none farther out is found

bool needs_whole_lines(const wire::SyncSettings& s) {
    return (s.flags & (wire::kSyncPlainVertical | wire::kSyncLineRateSerrations)) != 0;
}

std::uint16_t half_lines_near(double wanted, const wire::SyncSettings& s) {
    const double step = needs_whole_lines(s) ? 2 : 1;
    return static_cast<std::uint16_t>(std::clamp(step * std::round(wanted / step),
                                                 static_cast<double>(sync::kMinHalfLines),
                                                 static_cast<double>(sync::kMaxHalfLines)));
}

/// All searches of one axis on one board.
class Search {
    /// Counts the board time a piece of work takes.
    template <class Work> auto spend(LockRig& rig, Work work) {
        const double before_s = rig.now_s();
        auto result = work(rig);
        spent_s_ += rig.now_s() - before_s;
        return result;
    }

  public:
    Search(const BoardParameters& p, const wire::SyncSettings& nominal, LockAxis axis,
           const LockTruthOptions& options)
        : p_(p), nominal_(nominal), axis_(axis), options_(options), set_hz_(rate_of(nominal, axis)),
          start_(p, axis) {
        const bool line = axis == LockAxis::kLine;
        resolution_hz_ = options.resolution_hz > 0 ? options.resolution_hz : (line ? 2.0 : 0.02);
        const double field_hz = rate_of(nominal, LockAxis::kField);
        window_s_ = std::max((line ? 0.2 : 0.006) / resolution_hz_, (line ? 3 : 8) / field_hz);
        // A board off by the resolution drifts by resolution * window; half of that is "locked".
        drift_ = 0.5 * resolution_hz_ * window_s_;
        // Near the end of its hold range the phase of a line loop swings by a tenth of a period
        // within each field without losing a line: a longer window lets that be lock and is as
        // sharp.
        const double longer = line ? 3 : 1;
        hold_window_s_ = longer * window_s_;
        hold_drift_ = longer * drift_;
        settle_s_ = kSettleFields / field_hz;
        low_hz_ = options.low_hz > 0 ? options.low_hz : 0.75 * set_hz_;
        high_hz_ = options.high_hz > 0 ? options.high_hz : 1.25 * set_hz_;
        if (line) {
            low_hz_ = std::max(low_hz_, 1e-3 * sync::kMinLineRateMhz);
            high_hz_ = std::min(high_hz_, 1e-3 * sync::kMaxLineRateMhz);
        }
    }

    LockTruth run() {
        LockTruth truth;
        free_ = start_;
        free_.run_for(options_.warm_s);
        truth.free_run_hz = free_run();
        LockRig locked = start_;
        locked.start_sync(nominal_);
        locked.run_for(options_.warm_s);
        truth.locks_at_set_rate = spend(locked, [&](LockRig& r) { return is_locked(r); });
        if (truth.locks_at_set_rate) {
            truth.hold_low = hold(locked, -1);
            truth.hold_high = hold(locked, 1);
            truth.pull_in_low = pull_in(truth.hold_low.hz, set_hz_);
            truth.pull_in_high = pull_in(truth.hold_high.hz, set_hz_);
        }
        truth.simulated_s = spent_s_;
        return truth;
    }

  private:
    /// Without noise: with it, a second of fields has a mean that is off by a millihertz.
    double free_run() {
        BoardParameters quiet = p_;
        quiet.vertical_oscillator_noise_v = quiet.line_oscillator_noise_v = 0;
        LockRig rig(quiet, axis_);
        rig.run_for(options_.warm_s);
        return spend(rig, [](LockRig& r) { return r.rate_hz(kFreeRunS); });
    }
    bool is_locked(LockRig& rig) const { return rig.locked(hold_window_s_, hold_drift_); }

    bool follows(LockRig& rig, double rate_hz) {
        return spend(rig, [&](LockRig& r) {
            r.change(settings_at(nominal_, axis_, rate_hz));
            r.run_for(settle_s_);
            return is_locked(r);
        });
    }

    /// From lock away: steps grow while lock is kept; when it is lost, back to the state before,
    /// with a smaller step. The last rate is thus reached from lock by steps of the resolution or
    /// less.
    HoldLimit hold(const LockRig& locked, int side) {
        HoldLimit limit{true, false, set_hz_};
        LockRig rig = locked;
        const double largest_hz = 0.02 * set_hz_;
        const double end_hz = side < 0 ? low_hz_ : high_hz_;
        bool lost_before = false;
        for (double step_hz = 8 * resolution_hz_; step_hz >= 0.5 * resolution_hz_;) {
            LockRig next = rig;
            const double rate_hz = limit.hz + side * step_hz;
            if (side * (rate_hz - end_hz) > 0) {
                limit.beyond = true;
                return limit;
            }
            if (follows(next, rate_hz)) {
                rig = next;
                limit.hz = rate_hz;
                step_hz = lost_before ? step_hz : std::min(2 * step_hz, largest_hz);
            } else {
                lost_before = true;
                step_hz /= 2;
            }
        }
        return limit;
    }

    /// Sync comes to the free-running board at one of the phases; seconds until it locked, or < 0.
    double acquires(double rate_hz, int phase, double within_s) {
        LockRig rig = free_;
        const double period_s =
            1 /
            std::max(1.0, axis_ == LockAxis::kLine ? rate_of(nominal_, LockAxis::kLine) : set_hz_);
        return spend(rig, [&](LockRig& r) {
            const auto edge = r.next_edge(3 * period_s);
            const double later_s = period_s * (phase + 0.5) / options_.phases;
            const double begin_s = edge ? *edge + 2 * period_s + later_s : r.now_s() + later_s;
            r.start_sync(settings_at(nominal_, axis_, rate_hz), begin_s - r.now_s());
            r.run_for(begin_s - r.now_s());
            return r.locks_within(within_s, window_s_, drift_).value_or(-1.0);
        });
    }

    bool acquires_from_every(double rate_hz, double& longest_s) {
        longest_s = 0;
        for (int k = 0; k < options_.phases; ++k) {
            // The phase that failed last is tried first: most failures then cost one run.
            const int phase = (hard_phase_ + k) % options_.phases;
            const double s = acquires(rate_hz, phase, options_.acquire_s);
            if (s < 0) {
                hard_phase_ = phase;
                return false;
            }
            longest_s = std::max(longest_s, s);
        }
        return true;
    }

    bool acquires_from_some(double rate_hz) {
        const double some_s =
            options_.some_acquire_s > 0 ? options_.some_acquire_s : options_.acquire_s;
        for (int k = 0; k < options_.phases; ++k) {
            const int phase = (easy_phase_ + k) % options_.phases;
            if (acquires(rate_hz, phase, some_s) >= 0) {
                easy_phase_ = phase;
                return true;
            }
        }
        return false;
    }

    /// Bisects between a rate that is found and the hold limit; pull-in reaches no farther than
    /// hold.
    PullInLimit pull_in(double hold_hz, double found_hz) {
        PullInLimit limit;
        double longest_s = 0;
        if (!acquires_from_every(found_hz, longest_s)) {
            return limit;
        }
        limit = {true, found_hz, found_hz, longest_s};
        // Two resolutions: nearer to the free run, drifting and locked look the same.
        const double inside_hz = hold_hz + (found_hz > hold_hz ? 2 : -2) * resolution_hz_;
        double good_hz = found_hz;
        double bad_hz = inside_hz;
        if (acquires_from_every(inside_hz, longest_s)) {
            return {true, hold_hz, hold_hz, longest_s};
        }
        while (std::fabs(bad_hz - good_hz) > resolution_hz_) {
            const double middle_hz = 0.5 * (good_hz + bad_hz);
            if (acquires_from_every(middle_hz, longest_s)) {
                good_hz = middle_hz;
                limit.acquired_s = longest_s;
            } else {
                bad_hz = middle_hz;
            }
        }
        limit.every_hz = good_hz;
        if (axis_ == LockAxis::kField) {
            // A pulse that happens to come within its reach locks at any rate that can be held.
            limit.some_hz = hold_hz;
            return limit;
        }
        // Where chance decides, rates that some phase finds and rates that none does alternate.
        const double side = hold_hz > found_hz ? 1 : -1;
        int misses = 0;
        for (double rate_hz = good_hz + side * resolution_hz_;
             misses < kMissesEnd && side * (hold_hz - rate_hz) > 0;
             rate_hz += side * resolution_hz_) {
            misses = acquires_from_some(rate_hz) ? 0 : misses + 1;
            good_hz = misses == 0 ? rate_hz : good_hz;
        }
        limit.some_hz = good_hz;
        return limit;
    }

    BoardParameters p_;
    wire::SyncSettings nominal_;
    LockAxis axis_;
    LockTruthOptions options_;
    double set_hz_;
    double resolution_hz_ = 0;
    double window_s_ = 0, drift_ = 0; // pull-in
    double hold_window_s_ = 0, hold_drift_ = 0;
    double settle_s_ = 0;
    double low_hz_ = 0;
    double high_hz_ = 0;
    LockRig start_;
    LockRig free_ = start_;
    int hard_phase_ = 0;
    int easy_phase_ = 0;
    double spent_s_ = 0;
};

} // namespace

double rate_of(const wire::SyncSettings& s, LockAxis axis) {
    const double line_hz = static_cast<double>(s.line_rate_numerator) / s.line_rate_denominator;
    return axis == LockAxis::kLine ? line_hz : 2 * line_hz / s.half_lines;
}

wire::SyncSettings settings_at(const wire::SyncSettings& nominal, LockAxis axis, double rate_hz) {
    wire::SyncSettings s = nominal;
    double line_hz = rate_hz;
    if (axis == LockAxis::kField) {
        s.half_lines = half_lines_near(2 * rate_of(nominal, LockAxis::kLine) / rate_hz, nominal);
        line_hz = 0.5 * rate_hz * s.half_lines;
    } else {
        s.half_lines = half_lines_near(2 * rate_hz / rate_of(nominal, LockAxis::kField), nominal);
    }
    s.line_rate_denominator = kLineDenominator;
    s.line_rate_numerator = static_cast<std::uint32_t>(std::lround(line_hz * kLineDenominator));
    return s;
}

LockTruth measure_lock_truth(const BoardParameters& p, const wire::SyncSettings& settings,
                             LockAxis axis, const LockTruthOptions& options) {
    return Search(p, settings, axis, options).run();
}

BoardParameters warmed_up(const BoardParameters& p, const wire::SyncSettings& settings) {
    BoardParameters quick = p;
    quick.thermal_capacity_j_per_k = 0.1 / p.thermal_resistance_k_per_w; // time constant 0.1 s
    LockRig rig(quick, LockAxis::kField);
    rig.start_sync(settings);
    rig.run_for(1.0);
    BoardParameters warm = p;
    warm.thermal_start_c =
        std::clamp(rig.board().quantity(ChannelId::heatsink_c, rig.now_s()), -40.0, 200.0);
    return warm;
}

} // namespace yokedock::sim
