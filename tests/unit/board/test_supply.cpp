// SPDX-License-Identifier: MIT
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/supply.hpp"
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

using namespace yokedock::sim;

namespace {

constexpr double kStepS = 50e-6;

struct Run {
    std::vector<double> raw_v;
    std::vector<double> rail_v;
};

/// One second, after half a second to settle, with this constant load.
Run run(const BoardParameters& p, double load_a) {
    Supply supply(p);
    Run r;
    for (int k = 1; k <= 30000; ++k) {
        supply.step(k * kStepS, kStepS, load_a);
        if (k > 10000) {
            r.raw_v.push_back(supply.raw_v());
            r.rail_v.push_back(supply.rail_v());
        }
    }
    return r;
}

/// Amplitude of the component at this frequency over one second.
double amplitude(const std::vector<double>& v, double hz) {
    std::complex<double> sum = 0;
    for (std::size_t k = 0; k < v.size(); ++k) {
        sum += v[k] * std::polar(1.0, -2 * std::numbers::pi * hz * kStepS * static_cast<double>(k));
    }
    return 2 * std::abs(sum) / static_cast<double>(v.size());
}

double swing(const std::vector<double>& v) {
    const auto [low, high] = std::minmax_element(v.begin(), v.end());
    return *high - *low;
}

double middle(const std::vector<double>& v) {
    double sum = 0;
    for (double x : v) {
        sum += x;
    }
    return sum / static_cast<double>(v.size());
}

} // namespace

TEST_CASE("Ripple lies at twice the mains, at 50 and at 60 Hz, and has the size load, capacitor "
          "and angle give") {
    for (double hz : {50.0, 60.0}) {
        BoardParameters p = quiet_board();
        p.supply_mains_hz = hz;
        p.supply_other_load_ohm = 1e9;
        const Run r = run(p, 0.6);
        CAPTURE(hz);
        CHECK(amplitude(r.raw_v, 2 * hz) > 50 * amplitude(r.raw_v, hz));
        // Full-wave rectifier with capacitor (textbook): swing = I t / C with t the time the
        // capacitor alone feeds the load, between half and all of a half period.
        const double whole = 0.6 / (2 * hz * p.supply_reservoir_f);
        CHECK(swing(r.raw_v) < whole);
        CHECK(swing(r.raw_v) > 0.5 * whole);
    }
}

TEST_CASE("A dried reservoir has ripple in proportion until it drags the rail out of regulation") {
    BoardParameters p = quiet_board();
    const double healthy = swing(run(p, 0.3).raw_v);
    CHECK(swing(run(p, 0.3).rail_v) < 0.01);
    p.supply_reservoir_f /= 3;
    // Not quite three times: the deeper valley meets the next half wave earlier.
    CHECK(swing(run(p, 0.3).raw_v) / healthy == Approx(2.6).epsilon(0.15));
    p.supply_reservoir_f /= 7;
    const Run dry = run(p, 0.3);
    CHECK(swing(dry.rail_v) > 1);
    CHECK(amplitude(dry.rail_v, 120) > 20 * amplitude(dry.rail_v, 60));
}

TEST_CASE("The rail is the regulator's setting less load times output resistance, and follows low "
          "mains down") {
    BoardParameters p = quiet_board();
    p.supply_rejection = 1e9;
    p.supply_other_load_ohm = 1e9;
    CHECK(middle(run(p, 0.5).rail_v) ==
          Approx(p.supply_regulated_v - 0.5 * p.supply_output_ohm).epsilon(1e-6));
    p.supply_mains_v = 80;
    p.supply_reservoir_f = 1; // no ripple
    const double peak =
        std::numbers::sqrt2 * 80 * p.supply_transformer_ratio - 2 * p.supply_rectifier_v;
    const double rail = middle(run(p, 0.01).rail_v);
    CHECK(rail < peak - p.supply_dropout_v);
    CHECK(rail > peak - p.supply_dropout_v - 0.5); // source resistance at 10 mA in short pulses
    p.supply_mains_v = 0;
    p.supply_reservoir_f = 1000e-6;
    CHECK(middle(run(p, 0.5).rail_v) < 1e-9);
}

TEST_CASE("The heat sink warms with its own time constant to ambient plus watts times resistance") {
    BoardParameters p = quiet_board();
    p.thermal_start_c = p.thermal_ambient_c = 25;
    HeatSink sink(p);
    const double tau = p.thermal_resistance_k_per_w * p.thermal_capacity_j_per_k;
    for (int k = 0; k < 1000; ++k) {
        sink.step(tau / 1000, 2);
    }
    CHECK(sink.celsius() ==
          Approx(25 + 2 * p.thermal_resistance_k_per_w * (1 - std::exp(-1.0))).epsilon(1e-9));
    CHECK(sink.oscillator_rise_k() ==
          Approx(p.thermal_oscillator_share * (sink.celsius() - 25)).epsilon(1e-9));
}
