// SPDX-License-Identifier: MIT
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/sync_separator.hpp"
#include <cmath>

using namespace yokedock::sim;

namespace {

/// Feeds line sync of this width for `lines` lines; returns how much of the last pulse the clipper
/// passed, s.
double passed_s(SyncSeparator& s, double width_s, int lines, double start_s = 0) {
    double on_s = 0;
    for (int k = 0; k < lines; ++k) {
        const double t = start_s + k * 64e-6;
        s.set_tip(t, true);
        on_s = s.on() ? std::min(s.next_drop_s(), t + width_s) - t : 0;
        s.advance(t + width_s);
        s.set_tip(t + width_s, false);
    }
    return on_s;
}

} // namespace

TEST_CASE("Normal sync passes whole and the coupling capacitor settles where charge balances") {
    const BoardParameters p = quiet_board();
    SyncSeparator s(p);
    CHECK(passed_s(s, 4.7e-6, 10000) == Approx(4.7e-6));
    // Balance over a line: base current for 4.7 us = bleed current for 64 us, both nearly constant
    // because the capacitor's time constants (0.5 ms, 70 ms) are long; ripple is below 1 % of the
    // voltage.
    const double a = 4.7e-6 / p.sync_source_ohm;
    const double b = 64e-6 / p.sync_bleed_ohm;
    const double peak_v = p.sync_amplitude_v * p.sync_gain - p.sync_base_v;
    CHECK(s.capacitor_v() == Approx(peak_v * a / (a + b)).epsilon(0.01));
}

TEST_CASE("Sync below the level that closed form gives is not passed at all, above it is") {
    BoardParameters p = quiet_board();
    // The clipper needs on_a of base current; balance gives base current = peak / (source + bleed *
    // duty).
    const double duty = 4.7 / 64;
    const double least_peak_v = p.sync_on_a * (p.sync_source_ohm + p.sync_bleed_ohm * duty);
    const double least_v = (least_peak_v + p.sync_base_v) / p.sync_gain;
    for (double factor :
         {0.95, 1.05}) { // 5 %: ripple of the capacitor within a line moves the edge by 1 %
        p.sync_amplitude_v = least_v * factor;
        SyncSeparator s(p);
        CAPTURE(factor, least_v);
        if (factor < 1) {
            CHECK(passed_s(s, 4.7e-6, 20000) < 4.7e-6);
        } else {
            CHECK(passed_s(s, 4.7e-6, 20000) == Approx(4.7e-6));
        }
    }
    p.sync_amplitude_v = 0.5 * p.sync_base_v / p.sync_gain; // never reaches the base
    SyncSeparator dead(p);
    CHECK(passed_s(dead, 4.7e-6, 1000) == 0);
}

TEST_CASE("Sync that fills most of the line starves the clipper and is lost") {
    SyncSeparator s(quiet_board());
    CHECK(passed_s(s, 58e-6, 20000) < 5e-6); // of 58 us
}

TEST_CASE("The broad pulses of a normal vertical sync come through whole") {
    SyncSeparator s(quiet_board());
    passed_s(s, 4.7e-6, 10000);
    double t = 10000 * 64e-6;
    for (int k = 0; k < 6; ++k, t += 32e-6) {
        s.set_tip(t, true);
        CHECK(s.on());
        CHECK(s.next_drop_s() > t + 27.3e-6);
        s.set_tip(t + 27.3e-6, false);
    }
}

TEST_CASE("The integrator follows the RC law through any chain of levels") {
    const BoardParameters p = quiet_board();
    const double tau = p.sync_integrator_ohm * p.sync_integrator_f;
    RcIntegrator rc(p);
    rc.set_input(1e-3, true);
    CHECK(rc.voltage(1e-3 + tau) == Approx(p.sync_output_v * (1 - std::exp(-1.0))));
    rc.set_input(1e-3 + tau, false);
    CHECK(rc.voltage(1e-3 + 2 * tau) ==
          Approx(p.sync_output_v * (1 - std::exp(-1.0)) * std::exp(-1.0)));
}
