// SPDX-License-Identifier: MIT
// Faults that come and go: their moments, and boards that change while they run.
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/board_model.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/live_faults.hpp"
#include <cmath>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

FaultUse live(const char* id, std::optional<FaultIntermittent> intermittent,
              std::optional<FaultHeat> heat = std::nullopt, double severity = 1) {
    FaultUse use = use_fault(id, severity).value();
    use.intermittent = intermittent;
    use.heat = heat ? heat : use.heat;
    return use;
}

struct Rising {
    std::vector<double> line_s;
    std::vector<double> field_s;
};

/// Rising edges until end_s, without sync.
Rising run_free(BoardModel& board, double end_s, double slice_s = 1) {
    Rising edges;
    for (double limit = board.now_s(); limit < end_s;) {
        limit = std::min(end_s, limit + slice_s);
        while (const auto edge = board.run_until(limit)) {
            if (edge->rising) {
                (edge->line ? edges.line_s : edges.field_s).push_back(edge->time_s);
            }
        }
    }
    return edges;
}

std::size_t count_between(const std::vector<double>& times, double begin_s, double end_s) {
    std::size_t n = 0;
    for (const double t : times) {
        n += t >= begin_s && t < end_s ? 1 : 0;
    }
    return n;
}

} // namespace

TEST_CASE("An intermittent fault is on and off for the means asked, the same for the same seed") {
    const auto moments = [](std::uint32_t seed) {
        LiveFaults faults(demo_board(), {live("afc_open", FaultIntermittent{0.3, 0.9, seed})}, 25);
        std::vector<double> at;
        bool on = faults.part(0) > 0;
        double on_s = 0;
        double before = 0;
        while (at.size() < 4000) {
            const double now = faults.next_look_s();
            on_s += on ? now - before : 0;
            before = now;
            CHECK(faults.look(now, 25));
            CHECK((faults.part(0) > 0) == !on);
            on = !on;
            at.push_back(now);
        }
        // 2000 exponential times each: their sums have a relative sd of 1 / sqrt(2000) = 2.2 %.
        CHECK(on_s / 2000 == Approx(0.3).epsilon(0.09));
        CHECK((at.back() - on_s) / 2000 == Approx(0.9).epsilon(0.09));
        return at;
    };
    const std::vector<double> first = moments(1);
    CHECK(first == moments(1));
    CHECK(first[0] != moments(2)[0]);
}

TEST_CASE("Between its moments a board's values are the healthy ones or the faulty ones") {
    const BoardParameters healthy = demo_board();
    BoardParameters faulty = healthy;
    REQUIRE(apply_fault(faulty, "boost_cap_open", 0.7).ok());
    LiveFaults faults(healthy, {live("boost_cap_open", FaultIntermittent{1, 1, 3}, {}, 0.7)}, 25);
    for (int k = 0; k < 20; ++k) {
        const BoardParameters now = faults.parameters();
        const BoardParameters& expected = faults.part(0) > 0 ? faulty : healthy;
        for (const ParameterInfo& info : parameter_table()) {
            CHECK(now.*info.member == expected.*info.member);
        }
        faults.look(faults.next_look_s(), 25);
    }
}

TEST_CASE("A board with no live fault is the board without them, bit for bit") {
    BoardParameters p = demo_board();
    BoardModel plain(p);
    // Components that only a fault brings into play may have any value.
    p.thermal_case_j_per_k = 9;
    p.thermal_case_air_k_per_w = 9;
    p.vertical_ic_shutdown_c = 400;
    p.vertical_output_breakdown_v = 9000;
    BoardModel other(p, BoardPower::kAlwaysOn, {});
    const Rising a = run_free(plain, 0.3);
    const Rising b = run_free(other, 0.3);
    CHECK(a.line_s == b.line_s);
    CHECK(a.field_s == b.field_s);
    for (std::size_t k = 0; k < kChannelCount; ++k) {
        const auto channel = static_cast<ChannelId>(k);
        CHECK(plain.quantity(channel, 0.3) == other.quantity(channel, 0.3));
    }
}

TEST_CASE("A line drive that comes and goes: retraces stop and return at its moments") {
    const FaultIntermittent times{0.05, 0.08, 11};
    const std::vector<FaultUse> faults{live("h_drive_dead", times)};
    BoardModel board(demo_board(), BoardPower::kAlwaysOn, faults);
    LiveFaults schedule(demo_board(), faults, 25);
    const Rising edges = run_free(board, 0.6, 0.6);
    int looked_at = 0;
    for (double from = 0; from < 0.6;) {
        const bool dead = schedule.part(0) > 0;
        const double to = std::min(0.6, schedule.next_look_s());
        if (to - from > 3e-3) {
            ++looked_at;
            // The first retrace after drive returns needs a cycle of the oscillator; one that is
            // under way when it goes is made.
            const std::size_t n = count_between(edges.line_s, from + 2e-3, to);
            const double all = (to - from - 2e-3) * 15720;
            CAPTURE(from, to, dead);
            CHECK(static_cast<double>(n) == Approx(dead ? 0 : all).margin(2));
        }
        from = to;
        schedule.look(to, 25);
    }
    CHECK(looked_at >= 4);
    // The same again, whatever the slices: moments do not hang on who asks when.
    BoardModel again(demo_board(), BoardPower::kAlwaysOn, faults);
    const Rising sliced = run_free(again, 0.6, 0.37e-3);
    REQUIRE(sliced.line_s.size() == edges.line_s.size());
    for (std::size_t k = 0; k < edges.line_s.size(); ++k) {
        CHECK(std::fabs(sliced.line_s[k] - edges.line_s[k]) < 1e-8); // rounding of the slices
    }
}

TEST_CASE("A fault of the warm board: nothing of it when cold, all of it when warm") {
    BoardParameters p = quiet_board();
    const auto pulses = [&p](double start_c) {
        p.thermal_start_c = start_c;
        BoardModel board(p, BoardPower::kAlwaysOn, {live("ic_fails_warm", {})});
        return run_free(board, 0.2).field_s.size();
    };
    CHECK(pulses(25) == Approx(0.2 * 55.8).margin(1));
    CHECK(pulses(70) <= 1);
}

TEST_CASE("A board that warms up loses its vertical drive on the way, not at once") {
    BoardParameters p = quiet_board();
    p.thermal_start_c = 25;
    p.thermal_pace = 500; // 0.8 s stand for 400 s; the sink's time constant is 625 s
    BoardModel board(p, BoardPower::kAlwaysOn, {live("ic_fails_warm", {})});
    const Rising edges = run_free(board, 1.2);
    CHECK(count_between(edges.field_s, 0, 0.2) == Approx(0.2 * 55.8).margin(1));
    CHECK(count_between(edges.field_s, 1.0, 1.2) <= 1);
    CHECK(board.live_faults().part(0) > 0);
}

TEST_CASE("An oscillator that drifts with temperature locks cold and is lost warm") {
    BoardParameters p = quiet_board();
    REQUIRE(apply_fault(p, "v_warm_drift", 1).ok());
    const auto free_hz = [&p](double start_c) {
        p.thermal_start_c = start_c;
        return 1 / BoardModel(p).vertical_oscillator().free_running_period_s();
    };
    CHECK(free_hz(25) < 59.9); // below the sync: it can be pulled up to it
    CHECK(free_hz(65) > 60.5); // above: never again
}

TEST_CASE("A leaky line timing capacitor is slow, and slower when warm") {
    BoardParameters p = quiet_board();
    const double good = LineAfc(p, 1).free_running_hz();
    REQUIRE(apply_fault(p, "h_timing_cap_leaky", 0.5).ok());
    LineAfc afc(p, 1);
    const double cold = afc.free_running_hz();
    // The leak at half the swing against the charging current.
    const double leak_a = p.line_oscillator_leak_s * 0.5 * p.line_oscillator_swing_v;
    const double charge_a =
        p.line_oscillator_reference_v / (p.line_oscillator_fixed_ohm + p.line_oscillator_hold_ohm);
    CHECK(cold == Approx(good * (1 - leak_a / charge_a)).epsilon(1e-9));
    afc.set_temperature(15);
    CHECK(afc.free_running_hz() < cold * 0.995);
}

TEST_CASE("A loose IC: its sink stays cooler, it mutes itself when hot and comes back") {
    BoardParameters p = quiet_board();
    p.thermal_start_c = 25;
    p.thermal_pace = 500;
    BoardModel good(p);
    REQUIRE(apply_fault(p, "heatsink_loose", 1).ok());
    BoardModel loose(p);
    good.skip_to(1.0);
    const Rising edges = run_free(loose, 1.0);
    CHECK(count_between(edges.field_s, 0, 0.1) == Approx(0.1 * 55.8).margin(1)); // works cold
    CHECK(loose.heat_sink().celsius() < good.heat_sink().celsius() - 3);
    CHECK(loose.heat_sink().case_c() > good.heat_sink().case_c() + 40);
    const std::size_t fields = count_between(edges.field_s, 0.5, 1.0);
    CHECK(fields < 22); // of 28
    CHECK(loose.ic_stress().died_of == IcLimit::kNone);
    CHECK(loose.ic_stress().hottest_c < p.vertical_ic_max_junction_c);
    CHECK(good.ic_stress().hottest_c < 90);
}
