// SPDX-License-Identifier: MIT
// The brute-force limits themselves against closed forms, and the demo boards made for lock sweeps.
#include "afc_loop.hpp"
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/lock_rig.hpp"
#include "demo/virtual_bench/board/truth.hpp"
#include <algorithm>
#include <cmath>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

const wire::SyncSettings& settings() {
    return *find_standard("525/59.94");
}

/// No noise, no drift.
BoardParameters still_board(const char* file = "quillwood13.json") {
    BoardParameters p = demo_board(file);
    p.vertical_oscillator_noise_v = p.line_oscillator_noise_v = 0;
    p.thermal_oscillator_share = 0;
    return p;
}

double period_s(const BoardParameters& p, double lowered_v) {
    const double ohm = p.vertical_oscillator_fixed_ohm + p.vertical_oscillator_hold_ohm;
    const double share = p.vertical_oscillator_leak_ohm / (ohm + p.vertical_oscillator_leak_ohm);
    const double supply = p.vertical_oscillator_supply_v;
    const double low = supply * p.vertical_oscillator_lower_ratio;
    const double high = supply * p.vertical_oscillator_upper_ratio - lowered_v;
    return ohm * share * p.vertical_oscillator_capacitor_f *
               std::log((supply * share - low) / (supply * share - high)) +
           p.vertical_oscillator_discharge_ohm * p.vertical_oscillator_capacitor_f *
               std::log(high / low);
}

/// What the serrated vertical sync of 525 lines at line_hz lowers the threshold by at its highest.
double lowered_v(const BoardParameters& p, double line_hz) {
    const wire::SyncSettings& s = settings();
    const double half_s = 0.5 / line_hz;
    const double tau = p.sync_integrator_ohm * p.sync_integrator_f;
    const auto move = [&](double v, double to, double s_long) {
        return to + (v - to) * std::exp(-s_long / tau);
    };
    double v = 0;
    double highest = 0;
    for (int k = 0; k < s.pre_pulses + s.broad_pulses; ++k) {
        const double on_s =
            k < s.pre_pulses ? 1e-9 * s.equalising_ns : half_s - 1e-9 * s.serration_ns;
        v = move(v, p.sync_output_v, on_s);
        highest = std::max(highest, v);
        v = move(v, 0, half_s - on_s);
    }
    return (highest - p.sync_integrator_diode_v) * p.sync_inject_shunt_ohm /
           (p.sync_inject_ohm + p.sync_inject_shunt_ohm);
}

} // namespace

TEST_CASE("Brute force finds the vertical limits of closed form", "[long]") {
    const BoardParameters p = still_board();
    LockTruthOptions options;
    options.acquire_s = 1;
    options.phases = 4;
    const LockTruth t = measure_lock_truth(p, settings(), LockAxis::kField, options);
    REQUIRE(t.locks_at_set_rate);
    const double free_hz = 1 / period_s(p, 0);
    const double highest_hz = 1 / period_s(p, lowered_v(p, 15734.2657));
    CHECK(t.free_run_hz == Approx(free_hz).epsilon(1e-5));
    // Resolution 0.02 Hz, and drift of half of it still counts as lock.
    CHECK(t.hold_low.hz == Approx(free_hz).margin(0.03));
    // The line rate is trimmed by up to 0.1 %, which stretches the vertical pulse: 0.2 us of 190,
    // 0.02 % of the lowered threshold. The rail's ripple: 0.1 % of some 30 mV on 9 V, nothing.
    CHECK(t.hold_high.hz == Approx(highest_hz).margin(0.03));
    // Found as far as held, upwards: any pulse that comes catches it within a beat.
    REQUIRE(t.pull_in_high.exists);
    CHECK(t.pull_in_high.every_hz == t.hold_high.hz);
    // Downwards the beat decides. The worst phase has to walk a period less what the lowered
    // threshold reaches, at most; four phases: the worst tried is up to a quarter better.
    const double reach = 1 - free_hz / highest_hz;
    REQUIRE(t.pull_in_low.exists);
    CHECK(t.pull_in_low.some_hz == t.hold_low.hz);
    CHECK(t.pull_in_low.every_hz < free_hz + (1 - reach) / options.acquire_s + 0.05);
    CHECK(t.pull_in_low.every_hz > free_hz + (0.75 - reach) / options.acquire_s - 0.05);
}

TEST_CASE("Brute force finds line limits that lie as they must", "[long]") {
    LockTruthOptions options;
    options.acquire_s = 0.5;
    options.phases = 4;
    const BoardParameters p = still_board();
    const LockTruth t = measure_lock_truth(p, settings(), LockAxis::kLine, options);
    REQUIRE(t.locks_at_set_rate);
    CHECK(t.pull_in_low.every_hz > t.hold_low.hz + 100);
    CHECK(t.pull_in_high.every_hz < t.hold_high.hz - 100);
    CHECK(t.pull_in_low.some_hz <= t.pull_in_low.every_hz);
    CHECK(t.pull_in_high.some_hz >= t.pull_in_high.every_hz);
    // The loop is symmetrical but for the gate's duty (3 % over the range) and the half-line
    // pulses.
    const double below = t.free_run_hz - t.hold_low.hz;
    const double above = t.hold_high.hz - t.free_run_hz;
    CHECK(above == Approx(below).epsilon(0.1));
}

TEST_CASE("The whole board holds its line as far as the loop's gain reaches, within 1 percent",
          "[long]") {
    // A filter that hardly notices single gates, as in the test of the loop alone, and sync without
    // half-line pulses: those load the filter nine lines per field, worth some 5 % of the range.
    const BoardParameters p = smooth_loop(still_board());
    wire::SyncSettings s = settings();
    s.half_lines = 524;
    s.pre_pulses = s.post_pulses = 0;
    s.flags = wire::kSyncLineRateSerrations;
    LockTruthOptions options;
    options.acquire_s = 0.3;
    options.phases = 1;
    const LockTruth t = measure_lock_truth(p, s, LockAxis::kLine, options);
    REQUIRE(t.locks_at_set_rate);
    for (const double side : {-1.0, 1.0}) {
        const double limit_hz = side < 0 ? t.hold_low.hz : t.hold_high.hz;
        // Retrace gets higher with longer lines: its pulse near the limit counts.
        LockRig rig(p, LockAxis::kLine);
        rig.start_sync(s);
        rig.run_for(0.5);
        for (double part = 0; part < 0.95; part += 0.004) {
            const double from_hz = rate_of(s, LockAxis::kLine);
            rig.change(settings_at(s, LockAxis::kLine, from_hz + part * (limit_hz - from_hz)));
            rig.run_for(0.03);
        }
        REQUIRE(rig.locked(0.1, 0.1));
        LineRetrace pulse = rig.board().last_retrace();
        pulse.end_s -= pulse.begin_s;
        pulse.begin_s = 0;
        LineAfc afc(p, 1);
        afc.set_retrace(pulse);
        const double gate_s = gate_width_s(p);
        const double gain_hz =
            gain_limit_hz(p, afc, best_gate_mean_v(afc, pulse.end_s, gate_s), gate_s, side);
        CAPTURE(side, t.free_run_hz, limit_hz, gain_hz, pulse.peak_v, pulse.end_s);
        // Resolution 2 Hz of 500: 0.4 %; retrace read at 0.94 of the limit: 0.3 %.
        CHECK(limit_hz - t.free_run_hz == Approx(gain_hz - afc.free_running_hz()).epsilon(0.01));
    }
}

TEST_CASE("A warmed-up board does not drift") {
    const BoardParameters p = warmed_up(demo_board(), settings());
    CHECK(p.thermal_start_c > demo_board().thermal_start_c + 10);
    LockRig rig(p, LockAxis::kField);
    rig.start_sync(settings());
    rig.run_for(3);
    CHECK(rig.board().quantity(ChannelId::heatsink_c, rig.now_s()) ==
          Approx(p.thermal_start_c).margin(0.1));
}

TEST_CASE("Ripple on the rail moves the line oscillator by its share") {
    BoardParameters p = still_board("quillwood13_afc_open.json");
    p.line_oscillator_rail_share = 0.05;
    p.supply_rejection = 10;
    p.supply_reservoir_f = 1000e-6;
    BoardModel board(p);
    double last_s = NAN;
    double least_s = INFINITY;
    double most_s = 0;
    double least_v = INFINITY;
    double most_v = 0;
    while (const auto edge = board.run_until(0.1)) {
        if (!edge->line || !edge->rising) {
            continue;
        }
        if (!std::isnan(last_s)) {
            least_s = std::min(least_s, edge->time_s - last_s);
            most_s = std::max(most_s, edge->time_s - last_s);
        }
        last_s = edge->time_s;
        const double v = board.quantity(ChannelId::supply_v, board.now_s());
        least_v = std::min(least_v, v);
        most_v = std::max(most_v, v);
    }
    REQUIRE(most_v - least_v > 0.05); // there is ripple to be seen
    const double expected =
        p.line_oscillator_rail_share * (most_v - least_v) / p.line_oscillator_reference_v;
    // A period is a mean over 64 us of ripple of 120 Hz and field rate, rail steps of 50 us;
    // retrace begin moves a little with the current switched: 5 %.
    CHECK(most_s / least_s - 1 == Approx(expected).epsilon(0.05));
}

TEST_CASE("Each demo board made for lock sweeps does what it is named for", "[long]") {
    LockTruthOptions options;
    options.acquire_s = 0.5;
    options.phases = 2;
    const double field_hz = rate_of(settings(), LockAxis::kField);
    const double line_hz = rate_of(settings(), LockAxis::kLine);
    SECTION("field off rate: free-runs above sync, never locks, the line does") {
        const BoardParameters p = demo_board("quillwood13_field_off_rate.json");
        const LockTruth t = measure_lock_truth(p, settings(), LockAxis::kField, options);
        CHECK_FALSE(t.locks_at_set_rate);
        CHECK(t.free_run_hz > 1.05 * field_hz);
        const BoardTruth whole = measure_truth(p, settings());
        CHECK(whole.line.locked);
        CHECK_FALSE(whole.field.locked);
    }
    SECTION("line off rate: free-runs beyond the pull, never locks, the field does") {
        const BoardParameters p = demo_board("quillwood13_line_off_rate.json");
        const LockTruth t = measure_lock_truth(p, settings(), LockAxis::kLine, options);
        CHECK_FALSE(t.locks_at_set_rate);
        CHECK(t.free_run_hz > line_hz + 800);
        const BoardTruth whole = measure_truth(p, settings());
        CHECK(whole.field.locked);
        CHECK_FALSE(whole.line.locked);
    }
    SECTION("weak sync: held at the set rate, but over less than half the healthy range") {
        const LockTruth weak = measure_lock_truth(demo_board("quillwood13_weak_sync.json"),
                                                  settings(), LockAxis::kField, options);
        const LockTruth good =
            measure_lock_truth(demo_board(), settings(), LockAxis::kField, options);
        REQUIRE(weak.locks_at_set_rate);
        CHECK(weak.free_run_hz == Approx(good.free_run_hz).margin(0.02));
        CHECK(weak.hold_high.hz - weak.hold_low.hz < 0.5 * (good.hold_high.hz - good.hold_low.hz));
        CHECK(weak.hold_high.hz - field_hz < 1.5); // little is left
    }
    SECTION("line control open: sync or none, the rate is the same") {
        const BoardParameters p = demo_board("quillwood13_afc_open.json");
        const LockTruth t = measure_lock_truth(p, settings(), LockAxis::kLine, options);
        CHECK_FALSE(t.locks_at_set_rate);
        CHECK(std::fabs(t.free_run_hz - line_hz) < 100);
        const BoardTruth whole = measure_truth(p, settings());
        CHECK(whole.line.rate_hz ==
              Approx(t.free_run_hz).margin(0.5)); // it drifts a little as it warms
        CHECK(whole.field.locked);
    }
    SECTION("half rate: every other sync pulse, exactly") {
        const BoardParameters p = demo_board("quillwood13_half_rate.json");
        const LockTruth t = measure_lock_truth(p, settings(), LockAxis::kField, options);
        CHECK_FALSE(t.locks_at_set_rate);
        CHECK(t.free_run_hz < 0.5 * field_hz);
        const BoardTruth whole = measure_truth(p, settings());
        CHECK(whole.field.rate_hz == Approx(0.5 * field_hz).epsilon(1e-6));
        CHECK(whole.field.jitter_s < 5e-6);
    }
}
