// SPDX-License-Identifier: MIT
// Sync, relays and step drive as drawn, by ngspice.
#include "tests/unit/bench_docs/sheets.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/format.h>

using namespace yokedock::test;

namespace {

const char* const kTerminated = "vv5 v5 0 5\nrload comp75 0 75\n";

std::string sync_pins(double csync, double window, double pattern) {
    return fmt::format(
        "vc csync 0 {}\nvw window 0 {}\nvp pattern 0 {}\nvh hsync 0 0\nvv vsync 0 0\n", csync,
        window, pattern);
}

double composite_v(double csync, double window, double pattern, const std::string& load) {
    return settled(circuit({"sync"}, load + sync_pins(csync, window, pattern)), {"v(comp75)"}, 5e-6,
                   1e-7)[0];
}

/// Supplies of the relay drivers; no over-current. PA0 is low at first, as after every reset: that
/// releases the latch, which may come up either way.
const char* const kRelaySupply =
    "vv5 v5 0 5\nvv12 v12 0 12\nvsup supply_a 0 0\nvjp th_2a oc_th 0\n";

} // namespace

TEST_CASE("drawn sync output: tip, blanking and white into 75 ohm") {
    // 0.3 V and 1 V (ITU-R BT.470-6: 0.3 V sync, 0.7 V picture). 2 %: values
    // of the E96 series lie up to 1.2 % beside what is wanted, in two resistors that add.
    CHECK(composite_v(0, 0, 0, kTerminated) == Approx(0).margin(0.005));
    CHECK(composite_v(5, 0, 0, kTerminated) == Approx(0.3).epsilon(0.02));
    CHECK(composite_v(5, 5, 5, kTerminated) == Approx(1.0).epsilon(0.02));
    // Pattern without window and window without pattern are black.
    CHECK(composite_v(5, 0, 5, kTerminated) == Approx(0.3).epsilon(0.02));
    CHECK(composite_v(5, 5, 0, kTerminated) == Approx(0.3).epsilon(0.02));
}

TEST_CASE("drawn sync output: 75 ohm source") {
    const std::string open = "vv5 v5 0 5\n";
    for (const double window : {0.0, 5.0}) {
        const double load_v = composite_v(5, window, window, kTerminated);
        const double open_v = composite_v(5, window, window, open);
        // 2 %: a reflection of 1 %.
        CHECK(75 * (open_v / load_v - 1) == Approx(75).epsilon(0.02));
    }
}

TEST_CASE("drawn sync output: levels hold with the corners of its parts") {
    // Gate resistance 5 to 31 ohm (74AC: 0.74 V at 24 mA at most), resistors 1 %. 8 %: a separator
    // clips near half of the sync's height, so an eighth of it would not matter either.
    const double rs = value_of("sync", "R106");
    const double rv = value_of("sync", "R107");
    const double rp = value_of("sync", "R108");
    for (const double gate : {5.0, 31.0}) {
        for (const double off : {0.99, 1.01}) {
            const double gs = 1 / (rs * off + gate);
            const double gv = 1 / (rv * off + gate);
            const double all = gs + gv + 1 / (rp * (2 - off)) + 1 / 75.0;
            CHECK(5 * gs / all == Approx(0.3).epsilon(0.08));
            CHECK(5 * (gs + gv) / all == Approx(1.0).epsilon(0.08));
        }
    }
}

TEST_CASE("drawn sync output: edges of sync as long as the standards ask") {
    const auto run = yokedock::sim::run_spice(
        circuit({"sync"},
                std::string(kTerminated) +
                    "vc csync 0 pulse(5 0 1u 5n 5n 4.7u 64u)\nvw window 0 0\nvp pattern 0 "
                    "0\nvh hsync 0 0\nvv vsync 0 0\n"),
        {"v(comp75)"}, 5e-9, 8e-6, 0);
    INFO(run.log);
    REQUIRE(run.time_s.size() > 100);
    const double high = run.at(0, 0.9e-6);
    for (const bool rising : {false, true}) {
        const double from = rising ? 4e-6 : 0.9e-6;
        const double tenth = crossing(run, 0, 0.1 * high, rising, from);
        const double nine_tenths = crossing(run, 0, 0.9 * high, rising, from);
        // SMPTE 170M: 140 +-20 ns; BT.470-6: 200 +-100 ns. Both are met by 120 to 160 ns.
        CHECK(std::abs(nine_tenths - tenth) == Approx(140e-9).margin(20e-9));
    }
}

TEST_CASE("drawn relay drivers: a driven pin saturates its driver, with the worst transistor") {
    const std::string pins =
        "v0 k1_drive 0 pulse(0 4.2 1m 1u 1u 9 10)\nv2 k2_drive 0 4.2\nv3 k3_drive 0 4.2\nv4 "
        "k4_drive 0 "
        "4.2\nv5x k5_drive 0 4.2\n"; // the ATmega2560's lowest high level at 20 mA
    const auto v = settled(
        circuit({"guard", "relays"}, kRelaySupply + pins),
        {"v(k1_d)", "v(k2_d)", "v(k3_d)", "v(k4_d)", "v(k5_d)", "v(k1on)", "v(k5on)"}, 30e-3, 1e-5);
    for (std::size_t k = 0; k < 5; ++k) {
        INFO("K" << k + 1);
        CHECK(v[k] < 0.5); // the coil gets at least 96 % of the supply
    }
    CHECK(v[5] > 11);
    CHECK(v[6] > 11);
}

TEST_CASE("drawn relay drivers: nothing is on with floating pins, whatever else is powered") {
    // A floating pin leaks 1 uA at most (ATmega2560 data sheet, DC characteristics).
    const std::string floating =
        "i0 0 k1_drive 1u\ni2 0 k2_drive 1u\ni3 0 k3_drive 1u\ni4 0 "
        "k4_drive 1u\ni5 0 k5_drive 1u\nvsup supply_a 0 0\nvjp th_2a oc_th 0\n";
    for (const char* supplies : {"vv5 v5 0 5\nvv12 v12 0 12\n", "vv5 v5 0 0\nvv12 v12 0 12\n",
                                 "vv5 v5 0 5\nvv12 v12 0 0\n"}) {
        INFO(supplies);
        const auto v =
            settled(circuit({"guard", "relays"}, floating + supplies),
                    {"v(k1on)", "v(k2on)", "v(k3on)", "v(k4on)", "v(k5on)"}, 10e-3, 1e-5);
        for (std::size_t k = 0; k < 5; ++k) {
            INFO("K" << k + 1);
            CHECK(v[k] < 0.12); // a tenth of the voltage at which the laziest relay lets go
        }
    }
}

TEST_CASE("drawn stop button: takes K1, K2 and K5 away, leaves the loads, and is read") {
    const std::string pins = "v0 k1_drive 0 pulse(0 5 1m 1u 1u 9 10)\nv2 k2_drive 0 5\nv3 k3_drive "
                             "0 5\nv4 k4_drive 0 5\nv5x "
                             "k5_drive 0 5\nrpull stop_pin v5 20k\n"; // the pin's own pull-up
    const auto run = yokedock::sim::run_spice(
        circuit({"guard", "relays"},
                kRelaySupply + pins + "vstop stop 0 pulse(0 1 10m 1u 1u 100m 1)\n"),
        {"v(k1on)", "v(k2on)", "v(k3on)", "v(k4on)", "v(k5on)", "v(stop_pin)", "i(l.xk1.x1.l1)",
         "v(k1_d)"},
        1e-5, 25e-3, 0);
    INFO(run.log);
    REQUIRE(run.time_s.size() > 100);
    CHECK(run.at(0, 9.9e-3) > 11);
    for (const std::size_t k : {0U, 1U, 4U}) {
        CHECK(run.value[k].back() < 0.5);
    }
    CHECK(run.value[2].back() > 11);
    CHECK(run.value[3].back() > 11);
    CHECK(run.at(5, 9.9e-3) < 0.3 * 5);   // ATmega2560: below 0.3 Vcc is low
    CHECK(run.value[5].back() > 0.6 * 5); // above 0.6 Vcc is high
    CHECK(crossing(run, 5, 0.6 * 5, true, 10e-3) < 12e-3);
}

TEST_CASE("drawn relay drivers: K1 lets go several times sooner than with a plain diode") {
    const std::string pins =
        "v0 k1_drive 0 pwl(0 0 1m 0 1.001m 5 10m 5 10.001m 0)\nv2 k2_drive 0 pulse(5 0 10m 1u 1u "
        "1 2)\nv3 k3_drive 0 pulse(5 0 10m 1u 1u 1 2)\nv4 k4_drive 0 0\nv5x "
        "k5_drive 0 0\n";
    const auto run = yokedock::sim::run_spice(circuit({"guard", "relays"}, kRelaySupply + pins),
                                              {"i(l.xk1.x1.l1)", "i(l.xk3.x1.l1)", "v(k1_d)"}, 5e-6,
                                              20e-3, 8e-3);
    INFO(run.log);
    REQUIRE(run.time_s.size() > 100);
    const auto left = [&](std::size_t k) { // time to a tenth of the current: released for sure
        const double full = run.at(k, 9.9e-3);
        return crossing(run, k, 0.1 * full, full < 0, 10e-3) - 10e-3;
    };
    // Same coil: (I + V/R) e^-t - V/R = I / 10 gives 1.9 L/R at 0.8 V, 0.35 L/R at 25 V.
    CHECK(left(1) / left(0) > 4);
    CHECK(peak(run, 2) < 0.7 * 60); // Q701 is a 60 V part
}

TEST_CASE("drawn step drive: the current is that of resistor and load, and its rise that of L") {
    struct Load {
        double henry, ohm;
    };
    for (const Load load :
         {Load{0.022, 11}, Load{0.00032, 0.3}, Load{0.04, 60}, Load{50e-6, 0.2}}) {
        INFO("load " << load.henry << " H " << load.ohm << " ohm");
        const double step = value_of("step", "R804");
        const double around = 0.025 + 0.02 + 3 * 0.05; // shunt, fuse, contacts; MOSFET: see below
        const double tau = load.henry / (step + load.ohm + around + 0.3);
        const double end = 20e-6 + 6 * tau;
        const auto run = yokedock::sim::run_spice(
            circuit(
                {"step", "load"},
                fmt::format("vv5 v5 0 5\nvr ref25 0 2.5\nvv12 v12 0 12\nvk5 k5on 0 12\nvd "
                            "step_v_drive 0 pulse(0 5 10u 50n 50n 1 2)\nvh step_h_drive 0 0\nlv "
                            "v_hot vx {}\nrv vx v_cold_l {}\nlh h_hot h_cold_l 1m\n",
                            load.henry, load.ohm)),
            {"v(v_cold_l,v_ret)", "v(v_step)", "v(step_s)"}, end / 2000, end, 0);
        INFO(run.log);
        REQUIRE(run.time_s.size() > 100);
        const double shunt = value_of("load", "R201");
        const double final_a = run.value[0].back() / shunt;
        // MOSFET at its worst 0.3 ohm at this drive: 3 % of the smallest total.
        CHECK(final_a == Approx(12 / (step + load.ohm + around)).epsilon(0.035));
        const double at_tau =
            crossing(run, 0, (1 - std::exp(-1.0)) * final_a * shunt, true) - 10e-6;
        CHECK(at_tau == Approx(tau).epsilon(0.02).margin(0.4e-6)); // MOSFET on within 0.4 us
    }
}

TEST_CASE("drawn step drive: K5 at rest or pins floating leave the loads without current") {
    for (const char* how : {"vk5 k5on 0 0\nvd step_v_drive 0 5\nvh step_h_drive 0 5\n",
                            "vk5 k5on 0 12\nid 0 step_v_drive 1u\nih 0 step_h_drive 1u\n"}) {
        INFO(how);
        const auto v =
            settled(circuit({"step", "load"},
                            std::string("vv5 v5 0 5\nvr ref25 0 2.5\nvv12 v12 0 12\nrv v_hot "
                                        "v_cold_l 1\nrh h_hot h_cold_l 1\n") +
                                how),
                    {"v(v_cold_l,v_ret)", "v(h_cold_l,h_ret)"}, 5e-3, 1e-5);
        CHECK(std::abs(v[0]) < 0.025 * 1e-4); // below 0.1 mA
        CHECK(std::abs(v[1]) < 0.05 * 1e-4);
    }
}
