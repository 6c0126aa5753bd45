// SPDX-License-Identifier: MIT
// The whole board through the relays: the energise sequence ends where the board that is always on
// stands; what faulty boards show in the soft-start stage, and that the IC lives through it.
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/board.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/random.hpp"
#include <cmath>
#include <limits>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

/// A board under ideal sync, driven by hand.
class Energised {
  public:
    explicit Energised(const BoardParameters& p, BoardPower power = BoardPower::kRelays)
        : model(p, power),
          sync_(sync::make_plan(*find_standard("525/59.94"), 16000000).achieved, 16e6) {}

    struct Seen {
        int lines = 0;
        int fields = 0;
    };
    Seen run(double until_s) {
        Seen seen;
        while (model.now_s() < until_s - 1e-12) { // times are kept half a second ahead: rounding
            const double t = std::min(sync_.peek().time_s, until_s);
            while (const auto edge = model.run_until(t)) {
                (edge->line ? seen.lines : seen.fields) += edge->rising ? 1 : 0;
            }
            if (sync_.peek().time_s <= t) {
                model.set_sync_tip(t, sync_.take().tip);
            }
        }
        return seen;
    }
    void drive(const BenchDrive& d) { model.set_drive(model.now_s(), d); }
    double now(ChannelId channel) const { return model.quantity(channel, model.now_s()); }

    BoardModel model;

  private:
    IdealSync sync_;
};

const BenchDrive kLoads = [] {
    BenchDrive d;
    d.k3 = d.k4 = true;
    return d;
}();
BenchDrive with(BenchDrive d, bool k1, bool k2) {
    d.k1 = k1;
    d.k2 = k2;
    return d;
}

/// Means over some fields, as a technician's meters would show them.
struct Reading {
    double rail_v = 0, supply_a = 0, most_a = 0, h_peak_v = 0, v_out_v = 0, v_yoke_pp = 0;
    int lines = 0, fields = 0;
};
Reading read(Energised& bench, double seconds) {
    Reading r;
    double low = 0;
    double high = 0;
    const int n = static_cast<int>(seconds / 20e-6);
    for (int k = 0; k < n; ++k) {
        const auto seen = bench.run(bench.model.now_s() + 20e-6);
        r.lines += seen.lines;
        r.fields += seen.fields;
        r.rail_v += bench.now(ChannelId::supply_v) / n;
        const double amps = bench.now(ChannelId::supply_a);
        r.supply_a += amps / n;
        r.most_a = std::max(r.most_a, amps);
        r.h_peak_v = std::max(r.h_peak_v, bench.now(ChannelId::h_peak_v));
        r.v_out_v = std::max(r.v_out_v, bench.now(ChannelId::v_out_v));
        low = std::min(low, bench.now(ChannelId::v_yoke_a));
        high = std::max(high, bench.now(ChannelId::v_yoke_a));
    }
    r.v_yoke_pp = high - low;
    return r;
}

/// Two seconds of soft start, then a look at its last 0.1 s.
Reading soft_start(const char* file, Energised& bench) {
    CAPTURE(file);
    bench.drive(kLoads);
    bench.run(0.02);
    bench.drive(with(kLoads, true, false));
    bench.run(1.95);
    const Reading r = read(bench, 0.1);
    CHECK_FALSE(bench.model.power().vertical_ic().destroyed());
    CHECK_FALSE(bench.model.power().relays().over_current());
    return r;
}

} // namespace

TEST_CASE("Nothing driven, nothing lives: no rail, no current, no edge") {
    Energised bench(demo_board());
    bench.drive(kLoads);
    const auto seen = bench.run(0.3);
    CHECK(seen.lines == 0);
    CHECK(seen.fields == 0);
    for (ChannelId channel : {ChannelId::supply_v, ChannelId::supply_a, ChannelId::h_peak_v}) {
        CHECK(bench.now(channel) == 0);
    }
}

TEST_CASE("Loads, K1, K2 in turn reach what the board that is always on does, point by point") {
    const BoardParameters p = quiet_board();
    Energised relays(p);
    Energised always(p, BoardPower::kAlwaysOn);
    relays.drive(kLoads);
    relays.run(0.02);
    relays.drive(with(kLoads, true, false));
    relays.run(0.3);
    relays.drive(with(kLoads, true, true));
    relays.run(1.6);
    always.run(1.6);
    const struct {
        ChannelId channel;
        double margin;
    } rows[] = {
        // The same equations from 0.15 s after K2 on; what is left is the slow settling of the
        // coupling capacitor and the ramp (1000 uF into the DC feedback), a thousandth of full
        // scale.
        {ChannelId::v_yoke_a, 1e-3},
        {ChannelId::h_yoke_a, 5e-3},
        {ChannelId::supply_v, 2e-2},
        {ChannelId::h_peak_v, 0.2},
    };
    // supply_a point by point is no measure: when the boost capacitor is recharged it rises by
    // 0.5 A with 0.1 ms, and the two boards see that in steps of 5 and of 50 us (supply_v: the same
    // through output_ohm).
    double relays_a = 0;
    double always_a = 0;
    for (int k = 0; k < 2000; ++k) {
        const double t = 1.6 + k * 17e-6;
        relays.run(t);
        always.run(t);
        for (const auto& row : rows) {
            CAPTURE(t, static_cast<int>(row.channel));
            REQUIRE(relays.now(row.channel) == Approx(always.now(row.channel)).margin(row.margin));
        }
        relays_a += relays.now(ChannelId::supply_a) / 2000;
        always_a += always.now(ChannelId::supply_a) / 2000;
    }
    CHECK(relays_a == Approx(always_a).margin(1e-3)); // over two fields
    CHECK(relays.model.power().soft_start().ohm() == 0);
    CHECK_FALSE(relays.model.power().relays().over_current());
}

TEST_CASE("Soft start draws 24 V / 22 ohm at first, and the bypass no surge") {
    const BoardParameters p = quiet_board();
    Energised bench(p);
    bench.drive(with(kLoads, true, false));
    const double most_a = read(bench, 0.05).most_a;
    CHECK(most_a < 24 / p.bench_soft_start_ohm);
    CHECK(most_a > 0.95 * 24 / p.bench_soft_start_ohm); // read 20 us apart, falling with 22 ms
    bench.run(0.5);
    bench.drive(with(kLoads, true, true));
    // Slope of the gate: supply / (R C) = 240 V/s into 1000 uF, a quarter of an ampere on top of
    // the board's own.
    const Reading bypass = read(bench, 0.2);
    CHECK(bypass.most_a < 0.90 + 0.25);
    CHECK(bypass.most_a > 0.8);
}

TEST_CASE("K1 off: the board dies without an edge out of turn and without a wild value") {
    Energised bench(demo_board());
    bench.drive(with(kLoads, true, false));
    bench.run(0.3);
    bench.drive(with(kLoads, true, true));
    bench.run(0.6);
    bench.drive(kLoads);
    bench.run(0.605); // the contact is open
    CHECK(bench.now(ChannelId::supply_a) == 0);
    bench.run(0.9);
    CHECK(bench.now(ChannelId::supply_v) < 0.6);
    const auto seen = bench.run(2.5);
    CHECK(seen.lines == 0);
    CHECK(seen.fields == 0);
    CHECK(bench.now(ChannelId::supply_v) < 0.01);
    CHECK(std::fabs(bench.now(ChannelId::v_yoke_a)) < 0.01);
}

TEST_CASE(
    "A short on the live rail: the comparator's pin within 50 us, K1's coil with it, then dark") {
    BoardParameters p = quiet_board();
    Energised bench(p);
    bench.drive(with(kLoads, true, false));
    bench.run(0.3);
    bench.drive(with(kLoads, true, true));
    bench.run(0.8 + 13e-6); // anywhere within a step
    CHECK_FALSE(bench.model.take_over_current());
    p.supply_other_load_ohm = 1;
    bench.model.configure(p);
    const double cause_s = bench.model.now_s();
    // 24 V into 1 ohm behind 0.1 ohm and 1000 uF: 2 A after some 10 us, and 3 us for the
    // comparator.
    bench.run(cause_s + 50e-6);
    const auto pin = bench.model.take_over_current();
    REQUIRE(pin);
    CHECK(pin->high);
    CHECK(pin->time_s - cause_s < 30e-6);
    CHECK(pin->time_s - cause_s > 3e-6);
    CHECK_FALSE(bench.model.power().relays().k1_driven());
    bench.run(cause_s + 50e-6 + p.bench_relay_release_s);
    CHECK(bench.now(ChannelId::supply_a) == 0);
    bench.run(cause_s + 0.1);
    CHECK(bench.now(ChannelId::supply_v) < 0.1);
    CHECK(bench.model.power().relays().over_current()); // still driven: latched
}

TEST_CASE("Faulty boards in the soft-start stage: what the bench reads, and the IC lives") {
    Energised healthy(quiet_board());
    const Reading good = soft_start("healthy", healthy);
    CHECK(good.rail_v == Approx(15.25).margin(0.3));
    CHECK(good.supply_a == Approx((24 - good.rail_v) / 22.1).epsilon(0.01));
    CHECK(good.lines > 1500);
    CHECK(good.fields == 6);

    const auto board = [](const char* file) {
        BoardParameters p = demo_board(file);
        p.vertical_oscillator_noise_v = p.line_oscillator_noise_v = 0;
        return p;
    };
    SECTION("vertical IC reversed: the rail at two diodes' voltage, over an ampere, nothing runs") {
        const BoardParameters p = board("quillwood13_ic_reversed.json");
        Energised bench(p);
        const Reading r = soft_start("ic_reversed", bench);
        CHECK(r.rail_v < 2);
        const double path_ohm = p.bench_soft_start_ohm + p.bench_shunt_ohm + p.supply_output_ohm;
        CHECK(r.supply_a == Approx((24 - r.rail_v) / path_ohm).epsilon(0.001));
        CHECK(r.lines + r.fields == 0);
    }
    SECTION("yoke plug off: rail and current nearly right, no load current, line peak halved") {
        Energised bench(board("quillwood13_yoke_off.json"));
        const Reading r = soft_start("yoke_off", bench);
        CHECK(r.rail_v == Approx(good.rail_v).margin(1));
        CHECK(r.v_yoke_pp < 1e-3);
        CHECK(good.v_yoke_pp > 0.5);
        CHECK(r.h_peak_v < 0.6 * good.h_peak_v);
    }
    SECTION("supply 20 % high: rail and current together tell the source") {
        Energised bench(board("quillwood13_supply_high.json"));
        const Reading r = soft_start("supply_high", bench);
        CHECK(r.rail_v + 22.1 * r.supply_a == Approx(1.2 * 24).epsilon(0.005));
        CHECK(r.rail_v > 1.15 * good.rail_v);
    }
    SECTION("vertical yoke shorted: full current at a fraction of the voltage, no field retrace") {
        Energised bench(board("quillwood13_yoke_shorted.json"));
        const Reading r = soft_start("yoke_shorted", bench);
        CHECK(r.fields == 0);
        CHECK(r.v_out_v < 0.3 * good.v_out_v);
        CHECK(r.v_yoke_pp > 0.9 * good.v_yoke_pp);
        CHECK(bench.model.ic_stress().hottest_c > healthy.model.ic_stress().hottest_c);
    }
}

TEST_CASE("The reversed IC connected directly is destroyed, and stays a short") {
    Energised bench(demo_board("quillwood13_ic_reversed.json"));
    bench.drive(with(kLoads, true, true));
    bench.run(0.05);
    CHECK(bench.model.ic_stress().died_of == IcLimit::kSupplyCurrent);
    CHECK(bench.model.ic_stress().died_s == Approx(0.008).margin(0.001)); // K1's operate time
    bench.drive(kLoads);
    bench.run(0.2);
    bench.drive(with(kLoads, true, false)); // and now a soft start
    bench.run(0.6);
    CHECK(bench.now(ChannelId::supply_v) ==
          Approx(24 * 0.6 / 22.7).epsilon(0.01)); // short and rail filter, of the whole path
}

TEST_CASE("Relays and drives at random: every reading stays finite and within reason") {
    const char* const files[] = {"quillwood13.json", "quillwood13_yoke_off.json",
                                 "quillwood13_yoke_shorted.json", "quillwood13_ic_reversed.json"};
    Random random(5);
    for (const char* file : files) {
        Energised bench(demo_board(file));
        for (int n = 0; n < 60; ++n) {
            const auto bits = static_cast<unsigned>(256 * random.uniform());
            BenchDrive d;
            d.k1 = (bits & 1) != 0 || (bits & 2) != 0;
            d.k2 = (bits & 12) == 12;
            d.k3 = (bits & 16) != 0;
            d.k4 = (bits & 32) != 0;
            d.k5 = (bits & 64) != 0;
            d.step_vertical = d.step_horizontal = (bits & 128) != 0;
            bench.drive(d);
            bench.run(bench.model.now_s() + 0.02 * random.uniform());
            const struct {
                ChannelId channel;
                double low, high;
            } rows[] = {{ChannelId::v_yoke_a, -5, 5},   {ChannelId::h_yoke_a, -20, 20},
                        {ChannelId::supply_v, 0, 26},   {ChannelId::supply_a, 0, 200},
                        {ChannelId::v_out_v, -5, 60},   {ChannelId::h_peak_v, 0, 600},
                        {ChannelId::heatsink_c, 20, 60}};
            for (const auto& row : rows) {
                CAPTURE(file, n, static_cast<int>(row.channel));
                const double value = bench.now(row.channel);
                REQUIRE(value >= row.low); // false for NaN
                REQUIRE(value <= row.high);
            }
        }
    }
}
