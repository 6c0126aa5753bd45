// SPDX-License-Identifier: MIT
#include "host/capture/calibration.hpp"
#include "host/capture/measurement.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <gsl/gsl_fit.h>
#include <random>

using namespace yokedock;
using namespace yokedock::capture;
using Catch::Contains;

namespace {

constexpr double kCodeV = kAdcReferenceMv * 1e-3 / kAdcCodes;

/// A bench with scales of its own, a meter with its own errors, and what a bench reading is.
struct TrueBench {
    double gain = 1, zero_v = 0, reference = 5.0;
    [[nodiscard]] double nominal_input_v(ChannelId channel, double quantity) const {
        const Channel& row = kChannels[static_cast<std::size_t>(channel)];
        const double x = nominal_volts(channel, quantity) - row.zero_mv * 1e-3;
        const double volts = row.zero_mv * 1e-3 + zero_v + gain * x;
        return row.law == ChannelLaw::kNtc ? volts : volts * 5.0 / reference;
    }
};

std::vector<CalibrationPoint> points_of(const TrueBench& bench, ChannelId channel,
                                        const std::vector<double>& truths, double meter_u,
                                        double read_u, std::mt19937& random) {
    std::normal_distribution<double> normal;
    std::vector<CalibrationPoint> points;
    for (const double truth : truths) {
        const double is = truth + meter_u * normal(random); // what the meter said is `truth`
        points.push_back({channel,
                          {truth, meter_u},
                          {bench.nominal_input_v(channel, is) + read_u * normal(random), read_u},
                          "2026-01-31T09:36:12Z"});
    }
    return points;
}

} // namespace

TEST_CASE("gain and zero of a linear input are found within their stated uncertainty") {
    std::mt19937 random(3);
    std::normal_distribution<double> normal;
    int inside = 0;
    const int trials = 1000;
    for (int k = 0; k < trials; ++k) {
        const TrueBench bench{1 + 0.005 * normal(random), 0.002 * normal(random), 5.0};
        const auto points =
            points_of(bench, ChannelId::supply_v, {0, 6, 12, 24, 36}, 0.012, 0.3e-3, random);
        const auto fit = fit_channel(ChannelId::supply_v, points, {});
        REQUIRE(fit);
        inside += std::fabs(fit.value().gain.value - bench.gain) <= 2 * fit.value().gain.u ? 1 : 0;
        inside +=
            std::fabs(fit.value().zero_v.value - bench.zero_v) <= 2 * fit.value().zero_v.u ? 1 : 0;
    }
    // 95.4 % of 2000, correlated in pairs, sd 0.7 %; the Birge ratio only widens: 93 to 99 %.
    CHECK(inside > 0.93 * 2 * trials);
    CHECK(inside < 0.99 * 2 * trials);
}

TEST_CASE("the fit is GSL's weighted straight line") {
    std::mt19937 random(5);
    const TrueBench bench{1.004, 0.003, 5.0};
    const auto points =
        points_of(bench, ChannelId::v_yoke_a, {-0.8, -0.3, 0.1, 0.5, 0.9}, 1e-3, 0.2e-3, random);
    std::vector<double> x, y, w;
    for (const CalibrationPoint& p : points) {
        x.push_back(1.25 * p.truth.value); // the channel table: 1.25 V per ampere
        y.push_back(p.volts.value);
        w.push_back(1 / (p.volts.u * p.volts.u + std::pow(1.25 * p.truth.u, 2)));
    }
    double c0, c1, v00, v01, v11, chi;
    gsl_fit_wlinear(x.data(), 1, w.data(), 1, y.data(), 1, x.size(), &c0, &c1, &v00, &v01, &v11,
                    &chi);
    const double birge = std::max(1.0, std::sqrt(chi / 3));
    const auto fit = fit_channel(ChannelId::v_yoke_a, points, {});
    REQUIRE(fit);
    CHECK(fit.value().gain.value == Approx(c1).epsilon(1e-12));
    CHECK(fit.value().zero_v.value == Approx(c0 - 2.5).margin(1e-12));
    CHECK(fit.value().gain.u == Approx(std::sqrt(v11) * birge).epsilon(1e-9));
    CHECK(fit.value().zero_v.u == Approx(std::sqrt(v00) * birge).epsilon(1e-9));
}

TEST_CASE("one point tells the gain, or near zero the zero, and leaves the other nominal") {
    const auto far = fit_channel(ChannelId::supply_v,
                                 {{ChannelId::supply_v, {24, 0.024}, {1.9392, 1e-4}, ""}}, {});
    REQUIRE(far);
    CHECK(far.value().gain.value == Approx(1.01));
    CHECK(far.value().zero_v.value == 0);
    CHECK(far.value().zero_v.u == Approx(2e-3)); // the table's
    // 0.1 % of the meter, 2 mV of zero and 0.1 mV of reading on 1.92 V.
    CHECK(far.value().gain.u ==
          Approx(std::hypot(1.01e-3, std::hypot(2e-3, 1e-4) / 1.92)).epsilon(1e-6));
    const auto near =
        fit_channel(ChannelId::supply_v, {{ChannelId::supply_v, {0, 0.01}, {0.004, 1e-4}, ""}}, {});
    REQUIRE(near);
    CHECK(near.value().gain.value == 1);
    CHECK(near.value().gain.u == Approx(5e-3));
    CHECK(near.value().zero_v.value == Approx(0.004));
    CHECK(near.value().zero_v.u == Approx(std::hypot(1e-4, 8e-4)));
}

TEST_CASE("a thermistor is calibrated in degrees") {
    std::mt19937 random(9);
    const TrueBench bench{1.0, 0.006, 5.0};
    const auto points =
        points_of(bench, ChannelId::heatsink_c, {0, 25, 60, 90}, 0.05, 0.2e-3, random);
    const auto fit = fit_channel(ChannelId::heatsink_c, points, {});
    REQUIRE(fit);
    CHECK(std::fabs(fit.value().gain.value - 1) <= 3 * fit.value().gain.u);
    CHECK(std::fabs(fit.value().zero_v.value - 0.006) <= 3 * fit.value().zero_v.u);
    CHECK(fit.value().zero_v.u < 0.004);
}

TEST_CASE(
    "a calibrated scale turns codes into the true quantity, the converter's reference included") {
    std::mt19937 random(11);
    for (const double reference : {5.0, 4.93, 5.06}) {
        const TrueBench bench{1.006, -0.003, reference};
        for (const ChannelId channel :
             {ChannelId::v_yoke_a, ChannelId::supply_v, ChannelId::v_out_v}) {
            const double span =
                1.5 / (kChannels[static_cast<std::size_t>(channel)].microvolts_per_unit * 1e-6);
            const auto points =
                points_of(bench, channel, {0, span / 2, span}, 1e-6 * span, 1e-6, random);
            Calibration calibration;
            calibration.adc_reference_v = Stated{reference, 1e-4};
            const auto fit = fit_channel(channel, points, calibration.adc_reference_v);
            REQUIRE(fit);
            CHECK(fit.value().gain.value ==
                  Approx(1.006).epsilon(1e-4)); // the reference is no part of it
            calibration.channels[static_cast<std::size_t>(channel)] = fit.value();
            const ChannelScale scale = calibrated_scale(channel, calibration);
            CHECK(scale.calibrated);
            const double truth = 0.71 * span;
            const double read =
                (bench.nominal_input_v(channel, truth) - scale.zero_v) / scale.volts_per_unit;
            CHECK(read == Approx(truth).epsilon(2e-5));
        }
    }
}

TEST_CASE("an input that was not calibrated keeps its nominal scale and says so") {
    Calibration calibration;
    calibration.channels[2] = Calibration::ChannelResult{{1.01, 1e-4}, {0, 1e-4}};
    BenchInfo bench;
    apply(calibration, bench);
    CHECK(bench.scale[2].calibrated);
    CHECK(bench.scale[2].gain_u_relative == Approx(1e-4 / 1.01));
    CHECK_FALSE(bench.scale[3].calibrated);
    CHECK(bench.scale[3].gain_u_relative == nominal_scale(ChannelId::supply_a).gain_u_relative);
    CHECK(bench.clock_u_relative == Approx(kClockTolerancePpm * 1e-6));
}

TEST_CASE("points that cannot be right are refused with what to look at") {
    // 24 V typed in millivolts, and a reading of another plug.
    const auto unit = fit_channel(ChannelId::supply_v,
                                  {{ChannelId::supply_v, {24000, 10}, {1.92, 1e-4}, ""}}, {});
    REQUIRE_FALSE(unit);
    CHECK_THAT(unit.error().text, Contains("supply_v") && Contains("expected") && Contains("unit"));
    const auto none = fit_channel(ChannelId::supply_a, {}, {});
    REQUIRE_FALSE(none);
    CHECK_THAT(none.error().text, Contains("supply_a"));
}

TEST_CASE(
    "the clock is compared with the host's, with the doubt of the link and of the host's clock") {
    // 600 s, +35 ppm; answers within 4 ms and 6 ms: half trips of 2 and 3 ms.
    const ClockReading begin{100, 0.002, 5000};
    const ClockReading end{700, 0.003, 5000 + std::llround(600 * 16e6 * (1 + 35e-6))};
    const auto clock = fit_clock(begin, end, 16e6, 2e-6);
    REQUIRE(clock);
    CHECK(clock.value().value == Approx(35e-6).epsilon(1e-4));
    // A rectangle of half width a has the standard deviation a / sqrt(3).
    CHECK(clock.value().u ==
          Approx(std::hypot(std::hypot(0.002, 0.003) / std::sqrt(3.0) / 600, 2e-6)));
    CHECK_FALSE(fit_clock(begin, {104, 0.001, 64000000}, 16e6, 1e-6));
}

TEST_CASE("a calibration survives the way to the device and back") {
    Calibration c;
    c.serial = 4242;
    c.date_s = 1769852172;
    c.channels[0] = Calibration::ChannelResult{{0.995123, 0.000321}, {-0.004567, 0.000123}};
    c.channels[6] = Calibration::ChannelResult{{1, 0.002}, {0.006, 0.001}};
    c.clock_relative = Stated{-23.456e-6, 0.789e-6};
    c.adc_reference_v = Stated{4.987654, 0.001};
    c.trigger_delay_s = Stated{-125e-9, 10e-9};
    const auto wire = to_wire(c);
    REQUIRE(wire);
    const Calibration back = from_wire(wire.value());
    CHECK(back.serial == 4242);
    CHECK(back.date_s == 1769852172);
    REQUIRE(back.channels[0]);
    CHECK(back.channels[0]->gain.value == Approx(0.995123).margin(0.5e-6));
    CHECK(back.channels[0]->zero_v.value == Approx(-0.004567).margin(0.5e-6));
    CHECK(back.channels[0]->gain.u >= 0.000321); // rounded up, never down
    CHECK(back.channels[0]->gain.u == Approx(0.000321).margin(1e-6));
    CHECK_FALSE(back.channels[1]);
    REQUIRE(back.channels[6]);
    CHECK(back.clock_relative->value == Approx(-23.456e-6).margin(0.5e-9));
    CHECK(back.adc_reference_v->value == Approx(4.987654).margin(0.5e-6));
    CHECK(back.trigger_delay_s->value == Approx(-125e-9).margin(0.5e-12));
    CHECK_FALSE(from_wire(wire::Calibration{}).any());
    c.clock_relative = Stated{5, 1};
    const auto unfit = to_wire(c);
    REQUIRE_FALSE(unfit);
    CHECK_THAT(unfit.error().text, Contains("clock"));
}
