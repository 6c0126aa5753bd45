// SPDX-License-Identifier: MIT
// Resistance and inductance from a load step: coverage over the range of loads, bounds, bad input.
#include "tests/unit/analysis/load_bench.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>

using namespace load_bench;
using Catch::Contains;

namespace {

struct LoadCoverage {
    synthetic::Coverage ohms; ///< errors in units of u: rms should be 1
    synthetic::Coverage henries;
    int bounds = 0;
    int second = 0;
    int unexplained = 0;
};

/// Loads over the whole range, each measured by so many benches that differ by what they claim.
LoadCoverage cover(const Bench& b, unsigned seed, int loads, int repeats) {
    std::mt19937 random(seed);
    LoadCoverage c;
    for (int k = 0; k < loads; ++k) {
        const Load load{log_uniform(0.2, 60, random), log_uniform(0.05e-3, 40e-3, random)};
        for (int again = 0; again < repeats; ++again) {
            const LoadStep step = measure(b, load, draw_truth(b, random), random, 400);
            REQUIRE(step.ok);
            REQUIRE(step.resistance.status == FigureStatus::kMeasured);
            c.second += step.second.found ? 1 : 0;
            c.unexplained += step.residuals.good ? 0 : 1;
            const double u_ohm = total_u(step.resistance);
            c.ohms.add((step.resistance.value - load.ohm) / u_ohm, 1, 0);
            if (step.inductance.status == FigureStatus::kMeasured) {
                const double u_henry = total_u(step.inductance);
                c.henries.add((step.inductance.value - load.henry) / u_henry, 1, 0);
            } else {
                ++c.bounds;
                CHECK(step.inductance.value > load.henry);
            }
        }
    }
    return c;
}

// 200 pairs: the share's own sd is 1.5 % at 95 %. The truth is drawn from what the bench claims of
// itself, so 95.4 % is what right uncertainties give, and errors of 1 u rms (200: +-5 %; 120: 6 %).
void check(const LoadCoverage& c, double most) {
    INFO("R " << c.ohms.share() << ", L " << c.henries.share() << " of " << c.henries.total
              << ", rms error in u: R " << c.ohms.rms_error() << ", L " << c.henries.rms_error()
              << ", mean " << c.ohms.mean_error() << ", " << c.henries.mean_error()
              << "; second rise " << c.second << ", unexplained " << c.unexplained);
    CHECK(c.ohms.share() >= 0.90);
    CHECK(c.ohms.share() <= most);
    CHECK(c.henries.share() >= 0.90);
    CHECK(c.henries.share() <= most);
    CHECK(c.ohms.rms_error() < 1.2);
    CHECK(c.henries.rms_error() < 1.2);
    CHECK(c.bounds <= 4);
    CHECK(c.second <= 2); // a hundredth; plain coils have none
    CHECK(c.unexplained <= 2);
}

/// The large uncertainties gone: what is left is noise, quantiser, lag and origin.
Bench calibrated(bool horizontal, double noise_codes) {
    Bench b = bench(horizontal);
    b.drive.volts_u = 0.001;
    b.drive.source_ohm_u = 0.001;
    b.claims.gain_u_relative = 1e-4;
    b.claims.zero_u_a = 0.03 * b.claims.resolution_a;
    b.noise_a = noise_codes * b.claims.resolution_a;
    return b;
}

} // namespace

TEST_CASE("40 loads of 0.05 to 40 mH and 0.2 to 60 ohm lie within 2 u, vertical channel") {
    check(cover(bench(false), 1, 40, 5), 0.99);
}

TEST_CASE("40 loads of 0.05 to 40 mH and 0.2 to 60 ohm lie within 2 u, horizontal channel") {
    check(cover(bench(true), 2, 40, 5), 0.99);
}

TEST_CASE("a calibrated vertical channel covers 40 loads: noise, lag and origin are what is left") {
    check(cover(calibrated(false, 0.4), 3, 40, 5), 0.99);
}

TEST_CASE("a calibrated horizontal channel covers 40 loads: noise, lag and origin are left") {
    check(cover(calibrated(true, 0.4), 4, 40, 5), 0.99);
}

// The same load meets the same quantiser's error again, so each is measured once. One reading's
// error of a quantiser without noise is uniform: 2 u may hold all of it.
TEST_CASE("without noise the quantiser's error is covered, vertical channel") {
    check(cover(calibrated(false, 0.02), 5, 120, 1), 1.0);
}

TEST_CASE("without noise the quantiser's error is covered, horizontal channel") {
    check(cover(calibrated(true, 0.02), 6, 120, 1), 1.0);
}

namespace {

LoadStep measured_once(const Bench& b, const Load& load, unsigned seed = 7) {
    std::mt19937 random(seed);
    return measure(b, load, draw_truth(b, random), random, 400);
}

} // namespace

TEST_CASE("a rise far below lag and sampling is a bound, not a number") {
    const Bench b = bench(false);
    for (const double henry : {0.2e-6, 1e-6, 4e-6}) {
        const LoadStep step = measured_once(b, {60, henry});
        REQUIRE(step.ok);
        CAPTURE(henry, step.inductance.value, step.inductance.u);
        REQUIRE(step.no_rise);
        CHECK(step.inductance.status == FigureStatus::kOutOfRange);
        CHECK(step.inductance.value > henry);
        CHECK(step.inductance.value < 50e-6); // 0.7 us: what the lag's 0.1 us allows to tell
        CHECK_THAT(step.inductance.reason, Contains("at most"));
        CHECK(std::abs(step.resistance.value - 60) < 3 * step.resistance.u);
    }
}

TEST_CASE(
    "current left over from the step before is fitted: 40 mH with 0.2 ohm never dies in time") {
    const Bench b = bench(false);
    std::mt19937 random(8);
    synthetic::Coverage henries;
    synthetic::Coverage ohms;
    const Load load{0.2, 40e-3};
    for (int k = 0; k < 40; ++k) {
        const Truth truth = draw_truth(b, random);
        const StepPlan look = plan_first_look(b.drive);
        const StepSamples looked = run(b, load, truth, look, random, 400);
        const StepPlan plan = plan_load_step(measure_load_step(looked, b.drive), looked, b.drive);
        REQUIRE_FALSE(plan.starts_from_zero);
        const LoadStep step = measure_load_step(run(b, load, truth, plan, random, 400), b.drive);
        REQUIRE(step.ok);
        henries.add(step.inductance.value, total_u(step.inductance), load.henry);
        ohms.add(step.resistance.value, total_u(step.resistance), load.ohm);
    }
    // 40 pairs: 95.4 +-3.3 %.
    CHECK(henries.share() >= 0.87);
    CHECK(ohms.share() >= 0.87);
    CHECK(henries.rms_error() < 0.02 * load.henry);
}

TEST_CASE("a window much shorter than the time constant gives L but no R") {
    Bench b = bench(false);
    std::mt19937 random(9);
    const Load load{5, 40e-3}; // 2.6 ms
    StepSamples samples = b.claims;
    const Response r = respond(load, b.drive.volts, b.drive.source_ohm);
    for (int i = -100; i < 600; ++i) {
        samples.time_s.push_back(i * 0.2e-6);
        samples.amps.push_back(
            read_out(b, through_lag(r, samples.time_s.back(), b.claims.lag_s), random));
    }
    const LoadStep step = measure_load_step(samples, b.drive);
    REQUIRE(step.ok);
    CHECK(step.resistance.status == FigureStatus::kNotMeasured);
    CHECK_THAT(step.resistance.reason, Contains("for longer"));
    if (step.inductance.status == FigureStatus::kMeasured) {
        CHECK(std::abs(step.inductance.value - load.henry) < 3 * total_u(step.inductance));
    }
}

TEST_CASE("every budget adds up to its figure, and names what it is made of") {
    const LoadStep step = measured_once(bench(true), {3, 1e-3});
    CHECK(total_u(step.resistance_budget) == Approx(step.resistance.u));
    CHECK(total_u(step.inductance_budget) == Approx(step.inductance.u));
    CHECK(step.resistance.u_scale < step.resistance.u);
    CHECK(step.inductance.u_clock == Approx(30e-6 * step.inductance.value));
    std::vector<std::string> sources;
    for (const BudgetLine& line : step.resistance_budget) {
        sources.push_back(line.source);
        CHECK(line.u >= 0);
    }
    CHECK(sources == std::vector<std::string>{"noise", "quantiser", "zero", "input lag",
                                              "time origin", "converter linearity", "drive voltage",
                                              "current gain", "source resistance"});
    // R = V / I - Rs by hand: 0.25 % of V, 0.8 % of gain on 13.4 ohm, and 50 mohm.
    CHECK(step.resistance_budget[6].u == Approx(13.4 * 0.0025).epsilon(0.02));
    CHECK(step.resistance_budget[7].u == Approx(13.4 * 0.008).epsilon(0.02));
    CHECK(step.resistance_budget[8].u == 0.05);
}

TEST_CASE("a converter that is bent by what it may be is covered by the linearity line") {
    Bench b = calibrated(false, 0.4);
    b.claims.linearity_u_a = 0.5 * b.claims.resolution_a; // data sheet ATmega2560: 0.5 LSB typical
    std::mt19937 random(10);
    std::normal_distribution<double> normal(0, 1);
    synthetic::Coverage ohms;
    synthetic::Coverage henries;
    for (int k = 0; k < 60; ++k) {
        const Load load{log_uniform(1, 60, random), log_uniform(1e-3, 20e-3, random)};
        const Truth truth = draw_truth(b, random);
        const StepPlan look = plan_first_look(b.drive);
        const StepSamples looked = run(b, load, truth, look, random, 400);
        const StepPlan plan = plan_load_step(measure_load_step(looked, b.drive), looked, b.drive);
        StepSamples samples = run(b, load, truth, plan, random, 400);
        const double bend = b.claims.linearity_u_a * normal(random);
        const double swing = truth.volts / (load.ohm + truth.source_ohm);
        for (double& amps : samples.amps) {
            const double x = amps / swing;
            amps += bend * 4 * x * (1 - x);
        }
        const LoadStep step = measure_load_step(samples, b.drive);
        ohms.add(step.resistance.value, total_u(step.resistance), load.ohm);
        henries.add(step.inductance.value, total_u(step.inductance), load.henry);
    }
    CHECK(ohms.share() >= 0.88); // 60 pairs: 95.4 +-2.7 %
    CHECK(henries.share() >= 0.88);
}

TEST_CASE("bad input says what came, what was expected and what to do") {
    const Bench b = bench(false);
    StepSamples good = b.claims;
    for (int i = 1; i <= 50; ++i) {
        good.time_s.push_back(i * 10e-6);
        good.amps.push_back(1 - std::exp(-i / 10.0));
    }
    REQUIRE(measure_load_step(good, b.drive).ok);
    const auto problem = [&](auto spoil) {
        StepSamples s = good;
        StepDrive d = b.drive;
        spoil(s, d);
        const LoadStep step = measure_load_step(s, d);
        CHECK_FALSE(step.ok);
        CHECK(step.resistance.status == FigureStatus::kNotMeasured);
        CHECK(std::isnan(step.resistance.value));
        CHECK(step.inductance.reason == step.problem);
        return step.problem;
    };
    CHECK_THAT(problem([](auto& s, auto&) { s.amps.pop_back(); }),
               Contains("50 times came with 49"));
    CHECK_THAT(problem([](auto& s, auto&) { s.amps[3] = NAN; }), Contains("sample 3 is no number"));
    CHECK_THAT(problem([](auto&, auto& d) { d.volts = 0; }), Contains("volts above 0"));
    CHECK_THAT(problem([](auto&, auto& d) { d.source_ohm = -1; }), Contains("calibrate"));
    CHECK_THAT(problem([](auto& s, auto&) { s.lag_u_s = -1; }),
               Contains("is -1; a number of 0 or more"));
    CHECK_THAT(problem([](auto& s, auto&) { s.gain_u_relative = NAN; }),
               Contains("is nan; a number"));
    CHECK_THAT(problem([](auto& s, auto&) { s.amps[40] = 2.5; }), Contains("lower the drive"));
    CHECK_THAT(problem([](auto& s, auto&) {
                   for (double& t : s.time_s) {
                       t = -t;
                   }
               }),
               Contains("0 samples lie after the step"));
    CHECK_THAT(problem([](auto& s, auto&) { s.time_s[40] = 1e300; }), Contains("in seconds?"));
    CHECK_THAT(problem([](auto& s, auto&) {
                   for (double& t : s.time_s) {
                       t = 1e-3;
                   }
               }),
               Contains("spread the delays"));
}
