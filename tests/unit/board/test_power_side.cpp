// SPDX-License-Identifier: MIT
// The power side block by block: closed forms of soft start, discharge and clamp; relays and latch;
// limits of the vertical output IC.
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/power_side.hpp"
#include <cmath>
#include <fstream>
#include <string>

using namespace yokedock::sim;

namespace {

/// A stiff, ripple-free source of exactly regulated_v, nothing on the rail.
BoardParameters stiff_board() {
    BoardParameters p = quiet_board();
    p.supply_rejection = 1e9;
    p.supply_reservoir_f = 1;
    p.supply_other_load_ohm = 1e9;
    return p;
}

double path_ohm(const BoardParameters& p) { // source to the capacitor, bypass off
    return p.bench_soft_start_ohm + p.bench_shunt_ohm + p.supply_output_ohm + p.supply_filter_ohm;
}

BenchDrive drive_of(const char* relays) {
    BenchDrive d;
    for (const char* r = relays; *r != 0; ++r) {
        bool BenchDrive::*const members[] = {&BenchDrive::k1, &BenchDrive::k2, &BenchDrive::k3,
                                             &BenchDrive::k4, &BenchDrive::k5};
        d.*members[*r - '1'] = true;
    }
    return d;
}

/// Runs a PowerSide alone: no stages.
struct Rig {
    explicit Rig(const BoardParameters& p) : side(p, BoardPower::kRelays) {}
    void run(double until_s) {
        while (now_s < until_s - 1e-12) {
            const double next_s =
                std::min({until_s, now_s + side.next_step_s(now_s), side.next_change_s()});
            if (next_s > now_s) {
                side.step(next_s, next_s - now_s, {stages_a, 0, 0, 0, 40});
            }
            now_s = std::max(now_s, next_s);
            side.advance_relays(now_s);
        }
    }
    PowerSide side;
    double stages_a = 0;
    double now_s = 0;
};

} // namespace

TEST_CASE("The demo board's bench has the values drawn in docs/bench") {
    const BoardParameters p = demo_board();
    const auto drawn = [](const char* sheet, const std::string& part) {
        std::ifstream net(std::string(YOKEDOCK_BOARDS) + "/../../docs/bench/drawn/" + sheet);
        std::string line;
        while (std::getline(net, line)) {
            if (line.rfind(part + " ", 0) == 0) {
                std::size_t read = 0;
                const std::string text = line.substr(line.rfind(' ') + 1);
                const double number = std::stod(text, &read);
                const std::string unit = text.substr(read);
                return number * (unit == "Meg" ? 1e6 : unit == "n" ? 1e-9 : 1);
            }
        }
        FAIL(part << " is not in " << sheet);
        return 0.0;
    };
    CHECK(p.bench_soft_start_ohm == drawn("power.net", "R501"));
    CHECK(p.bench_shunt_ohm == drawn("power.net", "R502"));
    CHECK(p.bench_bypass_gate_ohm == drawn("power.net", "R507"));
    CHECK(p.bench_bypass_gate_f == Approx(drawn("power.net", "C503")));
    CHECK(p.bench_step_ohm == drawn("step.net", "R803"));
    CHECK(p.bench_step_ohm == drawn("step.net", "R804"));
    // Shunt of the vertical load and two contacts of 50 mohm; contact and MOSFET of the step drive.
    CHECK(p.bench_load_path_ohm == Approx(drawn("load.net", "R201") + 0.1));
    CHECK(p.bench_step_switch_ohm == Approx(0.05 + 0.175));
    // The jumper's ladder: 1, 2 or 4 V; shunt 0.05 ohm and gain 20 make 1 V/A.
    CHECK((p.bench_over_current_a == 1 || p.bench_over_current_a == 2 ||
           p.bench_over_current_a == 4));
}

TEST_CASE("Soft start charges the rail as R and C do, whatever the step") {
    const BoardParameters p = stiff_board();
    const double tau_s = path_ohm(p) * p.supply_decoupling_f;
    for (double step_s : {5e-6, 50e-6, 1e-3}) {
        Supply supply(p);
        supply.empty_rail();
        const double feed_ohm = p.bench_soft_start_ohm + p.bench_shunt_ohm;
        for (int k = 1; k * step_s < 0.1; ++k) {
            supply.step_fed(k * step_s, step_s, {}, feed_ohm);
            const double left = std::exp(-k * step_s / tau_s);
            // The rail node lies a filter resistance before the capacitor. Exact but for the
            // source's last microvolts (rejection) and 1e9 ohm of load.
            const double amps = p.supply_regulated_v * left / path_ohm(p);
            REQUIRE(supply.rail_a() == Approx(amps).margin(1e-6));
            REQUIRE(supply.rail_v() ==
                    Approx(p.supply_regulated_v * (1 - left) + amps * p.supply_filter_ohm)
                        .margin(1e-5));
        }
    }
}

TEST_CASE("With K1 open the rail decays through its loads and nothing flows in the shunt") {
    BoardParameters p = stiff_board();
    p.supply_other_load_ohm = 80;
    Rig rig(p);
    rig.side.set_drive(0, drive_of("1"));
    rig.run(0.6);
    const double from_v = rig.side.supply().rail_v();
    // The rail lies a filter resistance before the capacitor that the load hangs on.
    const double load_ohm = 80 + p.supply_filter_ohm;
    CHECK(from_v == Approx(24 * load_ohm / (80 + path_ohm(p))).epsilon(1e-6));
    rig.side.set_drive(0.6, drive_of(""));
    rig.run(0.6 + p.bench_relay_release_s); // the contact is late, the coil is not
    CHECK(rig.side.rail_v() == Approx(from_v).margin(1e-6));
    CHECK_FALSE(rig.side.relays().k1_driven());
    const double begin_v = rig.side.rail_v() - p.supply_filter_ohm * rig.side.rail_a();
    rig.run(0.6 + p.bench_relay_release_s + 0.1);
    CHECK(rig.side.rail_a() == 0);
    CHECK(rig.side.rail_v() ==
          Approx(begin_v * std::exp(-0.1 / (80 * p.supply_decoupling_f))).epsilon(1e-6));
}

TEST_CASE("A reversed IC is two diodes across the rail: the soft-start resistor sets its current") {
    BoardParameters p = stiff_board();
    p.vertical_ic_reversed = 1;
    Rig rig(p);
    rig.side.set_drive(0, drive_of("1"));
    rig.run(2);
    const double amps =
        (24 - p.vertical_ic_clamp_v) / (path_ohm(p) + p.vertical_ic_clamp_ohm); // Ohm's law
    CHECK(rig.side.rail_a() == Approx(amps).epsilon(1e-6));
    CHECK(rig.side.supply().clamp_a() == Approx(amps).epsilon(1e-6));
    CHECK_FALSE(rig.side.vertical_ic().destroyed());
    // Its own heat through its own thermal resistance, over a sink held at 40 degC.
    CHECK(rig.side.vertical_ic().junction_c() ==
          Approx(40 + p.vertical_ic_junction_k_per_w * amps * rig.side.rail_v()).epsilon(1e-3));
}

TEST_CASE("Both relays at once are a direct connection: over-current, and a reversed IC dies") {
    BoardParameters p = stiff_board();
    for (bool reversed : {false, true}) {
        p.vertical_ic_reversed = reversed ? 1 : 0;
        Rig rig(p);
        rig.side.set_drive(0, drive_of("12"));
        rig.run(0.1);
        CHECK(rig.side.relays().over_current());
        CHECK_FALSE(rig.side.relays().k1_driven());
        CHECK(rig.side.vertical_ic().destroyed() == reversed);
    }
}

TEST_CASE(
    "The latch: set microseconds after the current passes, drops K1's coil, cleared by K1 low") {
    const BoardParameters p = quiet_board();
    BenchRelays relays(p);
    relays.set_drive(1, drive_of("13"));
    CHECK_FALSE(relays.advance(1 + 0.999 * p.bench_relay_operate_s));
    CHECK(relays.advance(1 + 1.001 * p.bench_relay_operate_s));
    CHECK(relays.contacts().k1);
    CHECK(relays.contacts().k3);
    // From 0 to 4 A within 10 us: the jumper's 2 A after half of it.
    relays.see_current(2, 0, 2 + 10e-6, 4);
    const double set_s = std::max(2 + 5e-6 + p.bench_over_current_delay_s, 2 + 10e-6);
    CHECK(relays.next_change_s() == Approx(set_s).epsilon(0).margin(1e-9));
    CHECK(relays.k1_driven());
    relays.advance(set_s + 1e-9);
    CHECK_FALSE(relays.k1_driven());
    const auto high = relays.take_pin_change();
    REQUIRE(high);
    CHECK(high->high);
    CHECK(high->time_s == Approx(set_s).epsilon(0).margin(1e-9));
    CHECK(relays.contacts().k1); // mechanics: release time
    relays.advance(set_s + 1.001 * p.bench_relay_release_s);
    CHECK_FALSE(relays.contacts().k1);
    CHECK(relays.contacts().k3);
    relays.see_current(3, 4, 3 + 10e-6, 0); // the current has gone: the latch stays
    relays.advance(3.1);
    CHECK(relays.over_current());
    CHECK_FALSE(relays.k1_driven());
    relays.set_drive(4, drive_of("3"));
    CHECK_FALSE(relays.over_current());
    const auto low = relays.take_pin_change();
    REQUIRE(low);
    CHECK_FALSE(low->high);
    relays.set_drive(5, drive_of("13"));
    CHECK(relays.k1_driven());
    // While K1 is not driven the pin shows the comparator itself.
    relays.set_drive(6, drive_of("3"));
    relays.see_current(6, 0, 6.00001, 4);
    relays.advance(6.1);
    CHECK(relays.over_current());
    relays.see_current(6.2, 4, 6.20001, 0);
    relays.advance(6.3);
    CHECK_FALSE(relays.over_current());
}

TEST_CASE("The stop button takes K1, K2 and K5, and leaves the loads where they are") {
    const BoardParameters p = quiet_board();
    BenchRelays relays(p);
    relays.set_drive(0, drive_of("12345"));
    relays.advance(0.1);
    BenchDrive stopped = drive_of("12345");
    stopped.stop_pressed = true;
    relays.set_drive(0.1, stopped);
    CHECK_FALSE(relays.k1_driven());
    relays.advance(0.2);
    const Contacts c = relays.contacts();
    CHECK_FALSE((c.k1 || c.k2 || c.k5));
    CHECK((c.k3 && c.k4));
}

TEST_CASE("A coil that changes back before its contact moved moves nothing") {
    const BoardParameters p = quiet_board();
    BenchRelays relays(p);
    relays.set_drive(0, drive_of("1"));
    relays.set_drive(0.5 * p.bench_relay_operate_s, drive_of(""));
    CHECK_FALSE(relays.advance(1));
    CHECK_FALSE(relays.contacts().k1);
}

TEST_CASE(
    "The IC's junction warms as its resistance and capacity say, and every limit kills alone") {
    const BoardParameters p = quiet_board();
    VerticalIc ic(p);
    const double tau_s = p.vertical_ic_junction_k_per_w * p.vertical_ic_junction_j_per_k;
    for (int k = 1; k <= 1000; ++k) {
        ic.step(k * tau_s / 1000, tau_s / 1000, {10, 0.5, 0.4, 24, p.thermal_start_c});
    }
    const double rise_k = 10 * p.vertical_ic_junction_k_per_w * (1 - std::exp(-1.0));
    CHECK(ic.junction_c() == Approx(p.thermal_start_c + rise_k).epsilon(1e-9));
    CHECK(ic.works());
    CHECK(describe(ic.stress()) ==
          "survived, hottest 59 degC, most 0.50 A at the output, 0.40 A and 24.0 V at the supply");

    const struct {
        VerticalIc::Load bears;
        VerticalIc::Load kills;
        IcLimit limit;
    } rows[] = {
        {{0, 0.99 * p.vertical_ic_max_output_a, 0, 24, 40},
         {0, 1.01 * p.vertical_ic_max_output_a, 0, 24, 40},
         IcLimit::kOutputCurrent},
        {{0, 0, 0.99 * p.vertical_ic_max_supply_a, 24, 40},
         {0, 0, 1.01 * p.vertical_ic_max_supply_a, 24, 40},
         IcLimit::kSupplyCurrent},
        {{0, 0, 0, 0.99 * p.vertical_ic_max_supply_v, 40},
         {0, 0, 0, 1.01 * p.vertical_ic_max_supply_v, 40},
         IcLimit::kSupplyVoltage},
        {{(p.vertical_ic_max_junction_c - 41) / p.vertical_ic_junction_k_per_w, 0, 0, 24, 40},
         {(p.vertical_ic_max_junction_c - 39) / p.vertical_ic_junction_k_per_w, 0, 0, 24, 40},
         IcLimit::kJunction},
    };
    for (const auto& row : rows) {
        VerticalIc one(p);
        one.step(1, 1, row.bears);
        CHECK(one.works());
        one.step(2, 1, row.kills);
        CHECK(one.stress().died_of == row.limit);
        CHECK(one.stress().died_s == 2);
        one.step(3, 1, row.bears); // it stays dead
        CHECK_FALSE(one.works());
    }
}

TEST_CASE("Always on, the power side is the bare supply to the last bit") {
    const BoardParameters p = quiet_board();
    Supply bare(p);
    PowerSide side(p, BoardPower::kAlwaysOn);
    side.set_drive(0, drive_of("12")); // not looked at
    for (int k = 1; k <= 4000; ++k) {
        const double t = k * PowerSide::kSlowStepS;
        const double load_a = 0.3 + 0.2 * std::sin(400 * t);
        bare.step(t, PowerSide::kSlowStepS, load_a);
        REQUIRE(side.next_step_s(t) == PowerSide::kSlowStepS);
        side.step(t, PowerSide::kSlowStepS, {load_a, 1, 0.4, 0.4, 40});
        REQUIRE(side.rail_v() == bare.rail_v());
        REQUIRE(side.rail_a() == bare.rail_a());
    }
}
