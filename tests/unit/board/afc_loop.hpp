// SPDX-License-Identifier: MIT
// The line oscillator with its control loop on its own, without output stage: test only.
#pragma once
#include "demo/virtual_bench/board/line_afc.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::sim {

/// The loop on its own: retrace follows each cycle after a fixed time, sync at a period that may
/// change.
class Loop {
  public:
    static constexpr double kStorageS = 3e-6; ///< end of a cycle to retrace
    static constexpr double kRetraceS = 12e-6;
    static constexpr double kPeakV = 200;
    static constexpr double kSyncS = 4.7e-6;

    explicit Loop(const BoardParameters& p) : afc_(p, 1) {}

    /// One line of sync.
    void sync_line(double period_s, double extra_pulse_s = 0) {
        const double t = next_sync_s_;
        next_sync_s_ += period_s;
        period_s_ = period_s;
        ++lines_;
        pulse(t, kSyncS);
        if (extra_pulse_s > 0) {
            pulse(t + extra_pulse_s, 2.3e-6);
        }
        run(next_sync_s_);
    }
    /// End of the last cycle against sync, whole lines counted in: continuous through any slip.
    [[nodiscard]] double phase_s() const {
        return last_cycle_s_ - next_sync_s_ + static_cast<double>(lines_ - cycles_) * period_s_;
    }
    /// The first sync pulse comes at time_s, not in the past.
    void begin_sync(double time_s) {
        run(time_s);
        next_sync_s_ = time_s;
        lines_ = 0;
        cycles_ = 0;
    }
    /// Start of the next line of sync.
    [[nodiscard]] double next_sync_s() const { return next_sync_s_; }
    [[nodiscard]] const LineAfc& afc() const { return afc_; }
    [[nodiscard]] long cycles() const { return cycles_; }
    [[nodiscard]] double last_cycle_s() const { return last_cycle_s_; }

    void run(double limit_s) {
        while (now_s_ < limit_s) {
            const double stop = std::min(limit_s, retrace_s_);
            if (const auto cycle = afc_.run_until(stop)) {
                now_s_ = last_cycle_s_ = *cycle;
                retrace_s_ = now_s_ + kStorageS;
                ++cycles_;
            } else {
                now_s_ = stop;
            }
            if (now_s_ >= retrace_s_) {
                afc_.set_retrace({retrace_s_, retrace_s_ + kRetraceS, kPeakV});
                retrace_s_ = INFINITY;
            }
        }
    }

  private:
    void pulse(double t, double width_s) {
        run(t);
        afc_.set_sync(t, true);
        run(t + width_s);
        afc_.set_sync(t + width_s, false);
    }
    LineAfc afc_;
    double now_s_ = 0;
    double next_sync_s_ = 0;
    double retrace_s_ = INFINITY;
    double last_cycle_s_ = 0;
    long cycles_ = 0;
    long lines_ = 0;
    double period_s_ = 0;
};

/// A loop whose control ripple is far below 0.5 % (big direct capacitor), so that the averaged
/// closed form holds.
inline BoardParameters smooth_loop(BoardParameters p) {
    p.line_afc_detector_ohm = 47e3;
    p.line_afc_leak_ohm = 3e6;
    p.line_afc_filter_f = 22e-9;
    p.line_afc_lag_ohm = 130e3;
    p.line_afc_lag_f = 10e-9;
    p.thermal_ambient_c = 25;
    return p;
}

/// Best mean of the detector over a gate, found by trying every position after a retrace pulse that
/// begins at 0: the largest drive the loop can get.
inline double best_gate_mean_v(const LineAfc& afc, double retrace_s, double gate_s) {
    double best = 0;
    for (double start = 0; start < 3 * retrace_s; start += 0.02e-6) {
        double sum = 0;
        constexpr int kPoints = 100;
        for (int k = 0; k < kPoints; ++k) {
            sum += afc.detector_v(start + gate_s * (k + 0.5) / kPoints) / kPoints;
        }
        best = std::max(best, std::fabs(sum));
    }
    return best;
}

/// Hold range by the loop's gain: charge through the detector in the gate = charge through the leak
/// in the line, on the side asked for.
inline double gain_limit_hz(const BoardParameters& p, const LineAfc& afc, double detector_v,
                            double gate_s, double side) {
    double hz = afc.free_running_hz();
    for (int k = 0; k < 5; ++k) {
        const double in = gate_s * hz / p.line_afc_detector_ohm;
        const double share = in / (in + 1 / p.line_afc_leak_ohm);
        hz = afc.free_running_hz() + side * detector_v * share * afc.hz_per_volt();
    }
    return hz;
}

/// Locks near the expected limit, then moves sync slowly on until the oscillator slips; the last
/// rate followed.
inline double hold_limit_hz(const BoardParameters& p, double expected_pull_hz) {
    Loop loop(p);
    const double free_hz = loop.afc().free_running_hz();
    double hz = free_hz;
    const double near_hz = free_hz + 0.9 * expected_pull_hz;
    for (int k = 0; k < 8000; ++k) {
        loop.sync_line(1 / hz);
    }
    const double phase_s = loop.phase_s();
    double step_hz = 0.02;
    for (long line = 0; line < 400000; ++line) {
        loop.sync_line(1 / hz);
        if (std::fabs(loop.phase_s() - phase_s) > 40e-6) {
            break; // beyond any phase at which the detector could still hold it
        }
        if (std::fabs(hz - free_hz) > std::fabs(near_hz - free_hz)) {
            step_hz = 0.002;
        }
        hz += expected_pull_hz > 0 ? step_hz : -step_hz;
    }
    return hz;
}

} // namespace yokedock::sim
