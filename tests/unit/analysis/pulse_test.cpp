// SPDX-License-Identifier: MIT
#include "host/analysis/crossover.hpp"
#include "host/analysis/pulse.hpp"
#include "host/analysis/ramp.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::analysis;

namespace {

constexpr double kLine = 63.556e-6;

Marks marks_of(double period, std::size_t count) {
    return {synthetic::times(0, period, count), period, true};
}

} // namespace

TEST_CASE("a half-sine line pulse: peak, 50 and 10 percent widths, also where it straddles sync") {
    for (const double phase : {10e-6, 60e-6}) {
        std::mt19937 random(1);
        const double width = 11.9e-6;
        const auto wave = [&](double t) {
            double x = std::fmod(t - phase, kLine);
            x += x < 0 ? kLine : 0;
            return x < width ? 100 * std::sin(M_PI * x / width) : -0.5;
        };
        // An oscilloscope: 20 lines at 25 MS/s, 8 bits over 128 V.
        const auto s = synthetic::sample(wave, synthetic::times(0, 40e-9, 31000), 0.3, 0.5, random);
        const Pulse p = measure_pulse(fold(s, marks_of(kLine, 20)));
        REQUIRE(p.ok);
        INFO("peak " << p.peak.value << " +- " << p.peak.u << ", widths " << p.width_50_s.value
                     << " +- " << p.width_50_s.u << ", " << p.width_10_s.value << " +- "
                     << p.width_10_s.u);
        // The parabola over +-0.15 of the half-height width misses a sine's fourth order: x^4 / 24
        // at x = 0.31 rad, of which the fit keeps about a tenth: 0.004 %. Noise 0.35 V over some
        // hundred samples: 0.05 V.
        CHECK(p.peak.value == Approx(100).margin(0.2));
        CHECK(p.lowest.value == Approx(-0.5).margin(0.5));
        const double height = 100.5;
        const double at_50 = width * (1 - 2 * std::asin((0.5 * height - 0.5) / 100) / M_PI);
        const double at_10 = width * (1 - 2 * std::asin((0.1 * height - 0.5) / 100) / M_PI);
        CHECK(std::abs(p.width_50_s.value - at_50) < 3 * p.width_50_s.u + 10e-9);
        CHECK(std::abs(p.width_10_s.value - at_10) < 3 * p.width_10_s.u + 10e-9);
        CHECK(p.width_50_s.u < 0.1e-6);
    }
}

TEST_CASE("the peak of a half sine of a dozen places is not the highest of them") {
    // 64 us lines in steps of 1 us: every line falls on the same places, wherever they lie.
    const double width = 11.9e-6;
    for (int k = 0; k < 20; ++k) {
        std::mt19937 random(static_cast<std::uint32_t>(k));
        const double phase = 20e-6 + k * 0.05e-6;
        const auto wave = [&](double t) {
            const double x = std::fmod(t, 64e-6) - phase;
            return x > 0 && x < width ? 100 * std::sin(M_PI * x / width) : 0.0;
        };
        const auto s =
            synthetic::sample(wave, synthetic::times(0.3e-6, 1e-6, 24 * 64), 0.1, 0.2, random);
        const Pulse p = measure_pulse(fold(s, marks_of(64e-6, 24)));
        REQUIRE(p.ok);
        INFO("begins at " << phase << ": peak " << p.peak.value << " +- " << p.peak.u);
        // The highest of places 1 us apart lies up to 1 - cos(pi 0.5 / 11.9) = 0.87 % below the
        // peak. Noise: 0.12 V over 24 lines and 5 places.
        CHECK(std::abs(p.peak.value - 100) < 3 * p.peak.u);
        CHECK(p.peak.u < 0.2);
        CHECK(std::abs(p.peak.value - 100) < 0.25);
    }
}

TEST_CASE("a vertical output pulse with a flat top, a sample per line") {
    std::mt19937 random(2);
    const double field = 1 / 60.0;
    const auto wave = [&](double t) {
        const double x = std::fmod(t, field);
        return x < 700e-6 ? 46.0 : 20 - 14 * x / field;
    };
    const auto s =
        synthetic::sample(wave, synthetic::times(1e-5, 63.556e-6, 262 * 20), 0.1, 0.122, random);
    const Pulse p = measure_pulse(fold(s, marks_of(field, 20)));
    REQUIRE(p.ok);
    CHECK(p.peak.value == Approx(46).margin(0.2)); // 0.1 V noise, cells of about 5 samples
    CHECK(p.lowest.value == Approx(6).margin(0.2));
    // The jump lies somewhere between two places 16 us apart (262 x 20 samples creep through the
    // field).
    CHECK(std::abs(p.width_50_s.value - 700e-6) < 3 * p.width_50_s.u);
    CHECK(p.width_50_s.u < 30e-6);
}

TEST_CASE("a top that is highest at its steep edge is not bent upwards by the edge") {
    std::mt19937 random(4);
    const double field = 1 / 60.0;
    const double begin = 200e-6; // an edge within the period, so that places lie on both sides
    const auto wave = [&](double t) {
        const double x = std::fmod(t, field) - begin;
        return x >= 0 && x < 300e-6 ? 49.0 - 2 * x / 300e-6 : 12.0;
    };
    const auto s = synthetic::sample(wave, synthetic::times(1e-5, 63.556e-6 * 0.51, 513 * 60), 0.1,
                                     0.122, random);
    const Pulse p = measure_pulse(fold(s, marks_of(field, 61)));
    REQUIRE(p.ok);
    INFO(p.peak.value << " +- " << p.peak.u);
    // Of a line that falls by 2 V in 300 us a place of 16 us hides 0.1 V; noise 0.1 V.
    CHECK(p.peak.value == Approx(49).margin(0.3));
    CHECK(p.peak.u < 0.3);
}

TEST_CASE(
    "a top with a step, as output transistors hand over in mid-retrace, is read before the step") {
    // Shape and size as ngspice draws a field output with boost: 48 V for 150 us, then 2 V less.
    const double field = 1.001 / 60;
    const auto wave = [&](double t) {
        const double x = std::fmod(t, field) - 200e-6;
        if (x >= 0 && x < 150e-6) {
            return 48.0 - 0.05 * std::pow((x - 100e-6) / 100e-6, 2);
        }
        return x >= 150e-6 && x < 390e-6 ? 46.1 - (x - 150e-6) * 2e3 : 12.0;
    };
    for (const unsigned seed : {1u, 2u, 3u, 4u, 5u, 6u}) {
        std::mt19937 random(seed);
        const auto s = synthetic::sample(wave, synthetic::times(seed * 1.7e-6, 20e-6, 6600), 0.03,
                                         0.06, random);
        const Pulse p = measure_pulse(fold(s, marks_of(field, 9)));
        REQUIRE(p.ok);
        INFO("seed " << seed << ": " << p.peak.value << " +- " << p.peak.u);
        // Noise of half a code of 0.06 V; the highest of some eight places on the top is one with
        // noise upwards, by 1.4 sd at the most on average.
        CHECK(p.peak.value == Approx(48).margin(0.1));
        CHECK(p.peak.u < 0.1);
    }
}

TEST_CASE("no pulse is said in words") {
    std::mt19937 random(3);
    const auto s = synthetic::sample([](double) { return 12.0; }, synthetic::times(0, 63e-6, 4000),
                                     0.1, 0.122, random);
    const Pulse p = measure_pulse(fold(s, marks_of(1 / 60.0, 16)));
    CHECK_FALSE(p.ok);
    CHECK_FALSE(p.problem.empty());
}

TEST_CASE("a flat spot at zero current shows in the crossover slope, and hardly in linearity") {
    const double field = 1 / 60.0;
    for (const double dead : {0.0, 0.01}) {
        std::mt19937 random(4);
        const auto wave = [&](double t) {
            const double i = std::fmod(t, field) / field - 0.5;
            const double beyond = std::abs(i) - dead;
            return beyond <= 0 ? 0.0 : (i > 0 ? beyond : -beyond);
        };
        const auto s = synthetic::sample(wave, synthetic::times(1e-5, 63.556e-6, 262 * 60), 3e-3,
                                         4e-3, random);
        const Fold folded = fold(s, marks_of(field, 60));
        ShapeInput input;
        input.window = {0, field};
        const RampShape shape = measure_ramp(folded, input);
        const Crossover c = measure_crossover(folded, shape.fit);
        REQUIRE(c.ok);
        INFO(c.slope_pct.value << " +- " << c.slope_pct.u);
        // The inner piece is 0.04 of the window: a dead spot of +-0.01 (of 1) takes half of its
        // height away.
        if (dead > 0) {
            CHECK(c.slope_pct.value < 100 - 5 * c.slope_pct.u);
            CHECK(shape.linearity_lsq_pct.value < 1.5);
        } else {
            CHECK(std::abs(c.slope_pct.value - 100) < 3 * c.slope_pct.u);
        }
        CHECK(c.slope_pct.u < 6);
    }
}
