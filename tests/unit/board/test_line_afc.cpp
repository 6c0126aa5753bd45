// SPDX-License-Identifier: MIT
#include "afc_loop.hpp"
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/sync_separator.hpp"
#include <cmath>
#include <numbers>

using namespace yokedock::sim;

namespace {

constexpr double kRetraceS = Loop::kRetraceS;
constexpr double kPeakV = Loop::kPeakV;
constexpr double kSyncS = Loop::kSyncS;

} // namespace

TEST_CASE("The free-running rate is the closed form of the current-controlled oscillator") {
    const BoardParameters p = smooth_loop(quiet_board());
    Loop loop(p);
    loop.run(1.0);
    const double hz = p.line_oscillator_reference_v /
                      ((p.line_oscillator_fixed_ohm + p.line_oscillator_hold_ohm) *
                       p.line_oscillator_capacitor_f * p.line_oscillator_swing_v);
    CHECK(static_cast<double>(loop.cycles() - 1) / loop.last_cycle_s() ==
          Approx(hz).epsilon(1e-4)); // one cycle in 15 734
    CHECK(loop.afc().free_running_hz() == Approx(hz));
}

TEST_CASE("The hold range is the loop gain within 0.5 percent") {
    const BoardParameters p = smooth_loop(quiet_board());
    LineAfc afc(p, 1);
    afc.set_retrace({0, kRetraceS, kPeakV});
    const double gate = std::min(gate_width_s(p), kSyncS);
    const double detector_v = best_gate_mean_v(afc, kRetraceS, gate);
    const double free_hz = afc.free_running_hz();
    for (double side : {1.0, -1.0}) {
        const double hz = gain_limit_hz(p, afc, detector_v, gate, side);
        // The sweep of 0.002 Hz per line (32 Hz/s) goes on while the phase slips away, some 30 ms:
        // 1 Hz of some 600. 0.5 % of the range is 3 Hz.
        const double limit = hold_limit_hz(p, hz - free_hz);
        CAPTURE(side, hz - free_hz, limit - free_hz);
        CHECK(limit - free_hz == Approx(hz - free_hz).epsilon(0.005));
    }
}

TEST_CASE("A sine detector holds over its own loop gain, too") {
    BoardParameters p = smooth_loop(quiet_board());
    p.line_afc_sine = 1;
    LineAfc afc(p, 1);
    afc.set_retrace({0, kRetraceS, kPeakV});
    const double gate = std::min(gate_width_s(p), kSyncS);
    const double free_hz = afc.free_running_hz();
    // Sine of amplitude A over a gate g: best mean A sin(x)/x, x = pi g / T. A from the shaper:
    // half the area.
    const double amplitude = p.line_afc_retrace_ratio * kPeakV * kRetraceS / std::numbers::pi /
                             (p.line_afc_shaper_ohm * p.line_afc_shaper_f);
    const double x = std::numbers::pi * gate * free_hz;
    const double in = gate * free_hz / p.line_afc_detector_ohm;
    const double pull =
        amplitude * std::sin(x) / x * in / (in + 1 / p.line_afc_leak_ohm) * afc.hz_per_volt();
    const double limit = hold_limit_hz(p, pull);
    // The gate's duty and the sine's period move with the rate by 4 % at the limit: 1 % of the
    // share.
    CHECK(limit - free_hz == Approx(pull).epsilon(0.015));
}

TEST_CASE("Half-line pulses leave a locked loop's phase alone to a tenth of a microsecond") {
    const BoardParameters p = quiet_board();
    Loop loop(p);
    const double period = 1 / 15734.2657;
    for (int k = 0; k < 8000; ++k) {
        loop.sync_line(period);
    }
    const double before = loop.phase_s();
    double worst = 0;
    for (int k = 0; k < 60; ++k) { // nine lines of half-line pulses, then watch the loop settle
        loop.sync_line(period, k < 9 ? 0.5 * period : 0);
        worst = std::max(worst, std::fabs(loop.phase_s() - before));
    }
    CHECK(worst < 0.111e-6); // the detail limit of a 4.5 MHz picture (Motorola AN921, opening)
    CHECK(worst > 0);        // but a real board does feel them
}

TEST_CASE("Without retrace pulses or without sync the loop falls back to its free run") {
    const BoardParameters p = quiet_board();
    Loop loop(p);
    for (int k = 0; k < 8000; ++k) {
        loop.sync_line(1 / 15900.0);
    }
    CHECK(std::fabs(loop.afc().control_v()) > 0.1);
    const double t = 8000 / 15900.0;
    loop.run(t + 0.2); // leak 300 kohm with 49 nF: 15 ms
    CHECK(std::fabs(loop.afc().control_v()) < 1e-4);
}
