// SPDX-License-Identifier: MIT
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/vertical_output.hpp"
#include <cmath>

using namespace yokedock::sim;

namespace {

/// A stage whose reference is a square wave of +-amplitude_a (sense resistor 1 ohm): the ramp
/// capacitors reach their supply at once, so that only the output stage limits. Nothing else of the
/// board is in the way: no boost, no knee, no damping, a coupling capacitor that does not move,
/// half the rail across the yoke.
BoardParameters square_stage(double amplitude_a, double rail_v, double yoke_h, double yoke_ohm) {
    BoardParameters p = quiet_board();
    p.ramp_supply_v = 2;
    p.ramp_bias_v = 1;
    p.ramp_drive_gain = amplitude_a;
    p.ramp_s_level_v = 1e6;
    p.ramp_fixed_ohm = 1e3;
    p.ramp_height_ohm = 0;
    p.ramp_reset_ohm = 0.1;
    p.ramp_linearity_ohm = 1e12;
    p.vertical_output_gain = 1e5;
    p.vertical_output_dc_feedback = 0;
    p.vertical_output_saturation_v = 0;
    p.vertical_output_saturation_ohm = 0;
    p.vertical_output_crossover_v = 0;
    p.vertical_output_coupling_f = 1;
    p.vertical_output_coupling_esr_ohm = 0;
    p.vertical_output_damping_ohm = 1e9;
    p.vertical_output_boost_diode_v = rail_v; // boost capacitor never charges
    p.vertical_yoke_inductance_h = yoke_h;
    p.vertical_yoke_resistance_ohm = yoke_ohm;
    return p;
}

/// Flyback time: how long the output stays at its upper rail after the reset, until the current is
/// turned.
double turn_s(const BoardParameters& p, double rail_v, double amplitude_a) {
    VerticalOutput stage(p, rail_v);
    stage.set_reset(0, false);
    stage.run_until(20e-3); // settles at -amplitude: the ramp is up
    REQUIRE(stage.at(20e-3).yoke_a ==
            Approx(-amplitude_a).epsilon(0.03)); // a damping resistor takes its share
    stage.set_reset(20e-3, true);
    for (double t = 20e-3; t < 30e-3; t += 1e-6) {
        stage.run_until(t);
        const auto point = stage.at(t);
        if (point.yoke_a > 0.8 * amplitude_a && point.output_v < 0.9 * rail_v) {
            return t - 20e-3;
        }
    }
    return NAN;
}

} // namespace

TEST_CASE("A step of the rail into the yoke rises as V/R (1 - exp(-R t / L))") {
    BoardParameters p = square_stage(5, 24, 22e-3, 11); // asks for more than the rail can give
    VerticalOutput stage(p, 24);
    stage.set_reset(0, true); // half the rail, 12 V, across 11 + 1 ohm
    for (double t : {0.1e-3, 0.5e-3, 1e-3, 2e-3, 5e-3, 20e-3}) {
        stage.run_until(t);
        const double expected = 12.0 / 12 * (1 - std::exp(-t * 12 / 22e-3));
        // 0.1 %: exact within a step; the 1 F coupling capacitor moves by 20 mV in 20 ms at 1 A.
        CHECK(stage.at(t).yoke_a == Approx(expected).epsilon(2e-3));
    }
}

TEST_CASE("Retrace without knees takes the ideal (L/R) ln[(V + I R)/(V - I R)]") {
    // TDA4863J data sheet p. 13: 0.71 A peak, 6 mH, 6 + 1 ohm; published 350, 250 and 210 us at 30,
    // 40, 50 V.
    struct Row {
        double supply_v, ideal_us, published_us;
    };
    for (const Row row : {Row{30, 287, 350}, Row{40, 214, 250}, Row{50, 171, 210}}) {
        const double rail_v = 2 * row.supply_v; // half of it stands across the coil
        const double formula =
            6e-3 / 7 * std::log((row.supply_v + 0.71 * 7) / (row.supply_v - 0.71 * 7));
        const double t = turn_s(square_stage(0.71, rail_v, 6e-3, 6), rail_v, 0.71);
        CAPTURE(row.supply_v, t);
        CHECK(formula * 1e6 == Approx(row.ideal_us).margin(0.6)); // the table's last digit
        CHECK(t == Approx(formula).margin(3e-6));                 // a 2 us step and the 1 us search
        CHECK(t < row.published_us * 1e-6);                       // the ideal is a lower bound
    }
}

TEST_CASE("A sawtooth of 0.71 A from 17 V costs the power the data sheet works out") {
    // TDA4863J data sheet p. 13: +9 and -8 V, 0.71 A peak, 6 + 1 ohm: 3.2 W in all, 1.2 W in the
    // load, 2 W in the IC.
    BoardParameters p = square_stage(0.71, 17, 6e-3, 6);
    p.ramp_supply_v = 17;
    p.ramp_fixed_ohm = 680e3; // 2 V in 20 ms: +-1 V around the bias, the reference a sawtooth
    p.vertical_output_gain = 1e4;
    p.vertical_output_boost_diode_v = 0.8;
    VerticalOutput stage(p, 17);
    double load_j = 0;
    for (int field = 0; field < 20; ++field) {
        const double begin = 20e-3 * field;
        stage.set_reset(begin, true);
        stage.set_reset(begin + 0.3e-3, false);
        for (double t = begin + 0.3e-3; t < begin + 20e-3; t += 20e-6) {
            stage.run_until(t);
            const double a = stage.at(t).yoke_a;
            load_j += field >= 10 ? a * a * 7 * 20e-6 : 0;
        }
        if (field == 9) {
            (void)stage.take_account();
        }
    }
    const VerticalOutput::Account account = stage.take_account();
    // 10 %: the data sheet's worked example rounds to 0.1 W of 2, adds its own idle current of a
    // few mA, and leaves retrace out.
    CHECK(17 * account.supply_c / account.seconds == Approx(3.2).epsilon(0.1));
    CHECK(load_j / account.seconds == Approx(1.2).epsilon(0.1));
    CHECK(account.dissipated_j / account.seconds == Approx(2.0).epsilon(0.1));
}

TEST_CASE("The boost capacitor lifts retrace to nearly twice the rail; without it retrace is about "
          "twice as long") {
    BoardParameters p = square_stage(0.4, 24, 22e-3, 11);
    const double plain = turn_s(p, 24, 0.4);
    p.vertical_output_boost_diode_v = 0.8;
    const double boosted = turn_s(p, 24, 0.4);
    // Closed form with 12 V and with 12 + 23.2 V across 12 ohm and 22 mH; the 100 uF boost
    // capacitor moves by 0.4 A * 0.25 ms / 100 uF / 4 = 0.25 V of 35: 1 %.
    const double expect_plain = 22e-3 / 12 * std::log((12 + 4.8) / (12 - 4.8));
    const double expect_boosted = 22e-3 / 12 * std::log((35.2 + 4.8) / (35.2 - 4.8));
    CHECK(plain == Approx(expect_plain).epsilon(0.01));
    CHECK(boosted == Approx(expect_boosted).epsilon(0.02));
}

TEST_CASE("What the stage takes from the rail is what it wastes plus what the coil's resistance "
          "turns to heat") {
    const BoardParameters p = quiet_board();
    VerticalOutput stage(p, 24);
    const double period = 1 / 60.0;
    double copper_j = 0;
    VerticalOutput::Account total;
    for (int field = 0; field < 60; ++field) {
        stage.set_reset(field * period, true);
        stage.set_reset(field * period + 350e-6, false);
        for (double t = field * period + 360e-6; t < (field + 1) * period; t += 20e-6) {
            stage.run_until(t);
            const double a = stage.at(t).yoke_a;
            copper_j +=
                field >= 30
                    ? a * a * 20e-6 * (p.vertical_yoke_resistance_ohm + p.vertical_output_sense_ohm)
                    : 0;
        }
        const VerticalOutput::Account part = stage.take_account();
        if (field >= 30) {
            total.seconds += part.seconds;
            total.supply_c += part.supply_c;
            total.dissipated_j += part.dissipated_j;
        }
    }
    CHECK(total.seconds == Approx(0.5).epsilon(0.01));
    // 6 %: boost diode and its charging resistance, the ESR and the damping resistor take theirs
    // (about 4 % of the power), and copper loss leaves out the 2 % of the field around the reset.
    CHECK(24 * total.supply_c == Approx(total.dissipated_j + copper_j).epsilon(0.06));
    CHECK(total.dissipated_j / total.seconds > 0.5);
}
