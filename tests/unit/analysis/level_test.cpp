// SPDX-License-Identifier: MIT
#include "host/analysis/level.hpp"
#include "host/analysis/quantisation.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::analysis;

TEST_CASE("a level without noise is not known better than its code") {
    std::mt19937 random(1);
    const auto s = synthetic::sample([](double) { return 24.03; }, synthetic::times(0, 1e-3, 500),
                                     0, 0.061, random);
    const Level level = measure_level(s);
    REQUIRE(level.ok);
    CHECK(level.mean.u == Approx(0.061 / std::sqrt(12.0)).epsilon(0.01));
}

TEST_CASE("quantisation leaves next to nothing once noise reaches half a step") {
    CHECK(quantised_mean_u(1, 0) == Approx(1 / std::sqrt(12.0)));
    CHECK(quantised_mean_u(1, 0.5) < 0.01);
    // Brute force at 0.2 steps of noise: mean error of round() over Gaussian noise, rms over all
    // positions.
    double sum2 = 0;
    for (int k = 0; k < 200; ++k) {
        const double x = k / 200.0;
        double mean = 0;
        for (int i = -400; i <= 400; ++i) {
            const double z = i / 80.0;
            mean += std::round(x + 0.2 * z) * std::exp(-z * z / 2) / std::sqrt(2 * M_PI) / 80;
        }
        sum2 += (mean - x) * (mean - x) / 200;
    }
    CHECK(quantised_mean_u(1, 0.2) == Approx(std::sqrt(sum2)).epsilon(0.02));
}

TEST_CASE("the mean place of readings in steps: averaged where they run through the steps") {
    // Brute force: readings rounded to steps of 1, the rms of their mean error over all phases.
    const auto brute = [](double increment, int count) {
        double sum2 = 0;
        for (int p = 0; p < 500; ++p) {
            double mean = 0;
            for (int i = 0; i < count; ++i) {
                const double x = p / 500.0 + increment * i;
                mean += (std::round(x) - x) / count;
            }
            sum2 += mean * mean / 500;
        }
        return std::sqrt(sum2);
    };
    CHECK(quantised_place_u(1, 64, 24) == Approx(1 / std::sqrt(12.0)).epsilon(0.03));
    CHECK(brute(64, 24) == Approx(1 / std::sqrt(12.0)).epsilon(0.01));
    // Never less than the truth but for what 12 harmonics leave out (half-step increments have only
    // the even ones: the sum of 1 / m^2 to 6 is 0.907 of all, its root 0.952), and where steps are
    // run through of no use if it were much more.
    for (const double increment : {63.556, 64.003, 64.02, 100.37, 834.17, 1000.0, 7.5}) {
        for (const int count : {9, 24, 100}) {
            INFO(increment << " " << count);
            CHECK(quantised_place_u(1, increment, static_cast<std::size_t>(count)) >=
                  0.95 * brute(increment, count));
        }
    }
    CHECK(quantised_place_u(1, 63.556, 24) < 0.1);
    CHECK(quantised_place_u(0, 64, 24) == 0);
}

TEST_CASE("ripple is found at 100 or 120 Hz without being told which, on samples that are not "
          "equidistant") {
    for (const double mains : {50.0, 60.0}) {
        std::mt19937 random(2);
        std::uniform_real_distribution<double> uniform(0, 1);
        std::vector<double> t;
        double now = 0;
        for (int i = 0; i < 2000; ++i) {
            t.push_back(now += 300e-6 * (0.2 + uniform(random)));
        }
        const auto wave = [&](double x) {
            return 24 + 0.25 * std::sin(2 * M_PI * 2 * mains * x + 1) +
                   0.05 * std::sin(2 * M_PI * mains * x);
        };
        const Level level = measure_level(synthetic::sample(wave, t, 0.03, 0.061, random));
        REQUIRE(level.ripple_ok);
        CHECK(level.mains_hz == mains);
        CHECK(level.mains_seen);
        CHECK(std::abs(level.ripple_twice.value - 0.5) < 3 * level.ripple_twice.u);
        CHECK(std::abs(level.ripple_mains.value - 0.1) < 3 * level.ripple_mains.u);
        // 0.03 V of noise (and 0.018 of codes) over 2000 samples: an amplitude to 0.035 sqrt(2 /
        // 2000) = 1.1 mV.
        CHECK(level.ripple_twice.u < 2 * 1.5e-3);
        CHECK(std::abs(level.mean.value - 24) < 3 * level.mean.u);
        CHECK(level.mean.u < 2e-3);
    }
}

TEST_CASE("no ripple reads no ripple") {
    std::mt19937 random(3);
    const auto s = synthetic::sample([](double) { return 24.0; }, synthetic::times(0, 1e-3, 1000),
                                     0.05, 0.061, random);
    const Level level = measure_level(s);
    CHECK_FALSE(level.mains_seen);
    CHECK(level.ripple_twice.value < 3 * level.ripple_twice.u);
}

TEST_CASE("slow wander widens the uncertainty of a mean") {
    std::mt19937 random(4);
    const auto t = synthetic::times(0, 1e-3, 1000);
    const auto still =
        measure_level(synthetic::sample([](double) { return 24.0; }, t, 0.05, 0, random));
    const auto drifting = measure_level(
        synthetic::sample([](double x) { return 24.0 + 0.2 * x; }, t, 0.05, 0, random));
    CHECK(drifting.mean.u > 5 * still.mean.u);
}
