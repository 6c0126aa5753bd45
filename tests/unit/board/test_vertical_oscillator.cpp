// SPDX-License-Identifier: MIT
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/vertical_oscillator.hpp"
#include <cmath>
#include <vector>

using namespace yokedock::sim;

namespace {

constexpr double kPulseS = 190.7e-6; // three lines, unbroken

/// Times of retrace begin under sync pulses of this period, pulses at k * period.
std::vector<double> fire_times(VerticalOscillator& oscillator, double period_s, int pulses) {
    std::vector<double> fires;
    const auto run = [&](double limit) {
        while (const auto t = oscillator.run_until(limit)) {
            if (t->discharging) {
                fires.push_back(t->time_s);
            }
        }
    };
    for (int k = 0; k < pulses; ++k) {
        run(k * period_s);
        oscillator.set_sync(k * period_s, true);
        run(k * period_s + kPulseS);
        oscillator.set_sync(k * period_s + kPulseS, false);
    }
    return fires;
}

/// The last 20 intervals are all `every` sync periods long.
bool locked(const BoardParameters& p, double period_s, int every = 1) {
    VerticalOscillator oscillator(p, 1);
    const std::vector<double> f = fire_times(oscillator, period_s, 60 * every);
    if (f.size() < 25) {
        return false;
    }
    for (std::size_t k = f.size() - 20; k < f.size(); ++k) {
        if (std::fabs(f[k] - f[k - 1] - every * period_s) > 1e-6) {
            return false;
        }
    }
    return true;
}

/// Bisects the period between one that locks and one that does not.
double edge(const BoardParameters& p, double locks_s, double fails_s, int every = 1) {
    for (int k = 0; k < 30; ++k) {
        const double middle = 0.5 * (locks_s + fails_s);
        (locked(p, middle, every) ? locks_s : fails_s) = middle;
    }
    return locks_s;
}

struct ClosedForm {
    double free_s;
    double shortest_s;
};

/// Relaxation oscillator between two thresholds on an exponential, discharge on another (any
/// electronics text); worked out here on its own from the component values.
ClosedForm closed_form(const BoardParameters& p) {
    const double supply = p.vertical_oscillator_supply_v;
    const double tau = (p.vertical_oscillator_fixed_ohm + p.vertical_oscillator_hold_ohm) *
                       p.vertical_oscillator_capacitor_f;
    const double tau_d = p.vertical_oscillator_discharge_ohm * p.vertical_oscillator_capacitor_f;
    const double low = supply * p.vertical_oscillator_lower_ratio;
    const auto period = [&](double high) {
        return tau * std::log((supply - low) / (supply - high)) + tau_d * std::log(high / low);
    };
    const double high = supply * p.vertical_oscillator_upper_ratio;
    const double integrated =
        p.sync_output_v * (1 - std::exp(-kPulseS / (p.sync_integrator_ohm * p.sync_integrator_f)));
    const double lowered = (integrated - p.sync_integrator_diode_v) * p.sync_inject_shunt_ohm /
                           (p.sync_inject_ohm + p.sync_inject_shunt_ohm);
    return {period(high), period(high - lowered)};
}

} // namespace

TEST_CASE("Without sync the period is the closed form of the charging curve") {
    const BoardParameters p = quiet_board();
    VerticalOscillator oscillator(p, 1);
    std::vector<double> fires;
    while (const auto t = oscillator.run_until(1.0)) {
        if (t->discharging) {
            fires.push_back(t->time_s);
        }
    }
    REQUIRE(fires.size() > 40);
    // Crossings are found to 1e-12 s; leakage of 1 Gohm on 106 kohm moves the period by about 1e-4.
    CHECK((fires.back() - fires[5]) / static_cast<double>(fires.size() - 6) ==
          Approx(closed_form(p).free_s).epsilon(3e-4));
    CHECK(oscillator.free_running_period_s() == Approx(closed_form(p).free_s).epsilon(3e-4));
}

TEST_CASE(
    "The lock range ends where closed form says, within 0.1 percent, and lies above the free run") {
    const BoardParameters p = quiet_board();
    const ClosedForm c = closed_form(p);
    REQUIRE(locked(p, 0.5 * (c.free_s + c.shortest_s)));
    const double longest = edge(p, 0.95 * c.free_s, 1.05 * c.free_s);
    const double shortest = edge(p, 0.95 * c.free_s, 0.9 * c.shortest_s);
    // 0.1 %: the lock decision itself is sharp; the pulse's first crossing lies within the pulse,
    // and the 1 Gohm leak moves both limits by 0.01 %.
    CHECK(longest == Approx(c.free_s).epsilon(1e-3));
    CHECK(shortest == Approx(c.shortest_s).epsilon(1e-3));
    CHECK_FALSE(locked(p, 1.01 * c.free_s));
}

TEST_CASE("Sync at twice and three times the rate locks 2:1 and 3:1") {
    const BoardParameters p = quiet_board();
    const ClosedForm c = closed_form(p);
    const double field_s = 0.97 * c.free_s;
    CHECK(locked(p, field_s / 2, 2));
    CHECK(locked(p, field_s / 3, 3));
    CHECK_FALSE(locked(p, field_s / 2, 1));
}

TEST_CASE("Warming by 20 K shifts the free run by the tempco, the other way round for the rate") {
    const BoardParameters p = quiet_board();
    VerticalOscillator oscillator(p, 1);
    const double cold = oscillator.free_running_period_s();
    oscillator.set_temperature(20);
    CHECK(oscillator.free_running_period_s() / cold ==
          Approx(1 + 20 * p.vertical_oscillator_tempco_per_k).epsilon(1e-9));
}

TEST_CASE("Threshold noise turns into period jitter by the slope of the charging curve") {
    BoardParameters p = quiet_board();
    p.vertical_oscillator_noise_v = 1e-3;
    VerticalOscillator oscillator(p, 3);
    std::vector<double> fires;
    while (const auto t = oscillator.run_until(30.0)) {
        if (t->discharging) {
            fires.push_back(t->time_s);
        }
    }
    double mean = 0;
    double squares = 0;
    const auto n = static_cast<double>(fires.size() - 1);
    for (std::size_t k = 1; k < fires.size(); ++k) {
        mean += (fires[k] - fires[k - 1]) / n;
    }
    for (std::size_t k = 1; k < fires.size(); ++k) {
        squares += std::pow(fires[k] - fires[k - 1] - mean, 2);
    }
    const double supply = p.vertical_oscillator_supply_v;
    const double tau = (p.vertical_oscillator_fixed_ohm + p.vertical_oscillator_hold_ohm) *
                       p.vertical_oscillator_capacitor_f;
    const double slope = supply * (1 - p.vertical_oscillator_upper_ratio) / tau;
    // A later threshold also discharges a little longer: under 3 %. Sampling: 4 / sqrt(2 n) = 7 %.
    CHECK(std::sqrt(squares / n) == Approx(1e-3 / slope).epsilon(0.1));
}
