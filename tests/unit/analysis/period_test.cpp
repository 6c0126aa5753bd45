// SPDX-License-Identifier: MIT
#include "host/analysis/period.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::analysis;

namespace {

constexpr double kTick = 62.5e-9;

std::vector<double> jittered(double start, double period, std::size_t n, double sd, double tick,
                             std::mt19937& random) {
    std::normal_distribution<double> normal(0, sd);
    std::vector<double> t(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double x = start + period * static_cast<double>(i) + (sd > 0 ? normal(random) : 0);
        t[i] = tick > 0 ? tick * std::floor(x / tick) : x;
    }
    return t;
}

} // namespace

TEST_CASE("the period's error reaches the Cramer-Rao bound within 5 percent") {
    std::mt19937 random(1);
    const double period = 63.556e-6;
    const double sigma = 200e-9;
    const std::size_t n = 300;
    double sum2 = 0;
    double sum_u2 = 0;
    const int trials = 4000; // the rms of 4000 errors is itself good to 1 / sqrt(8000) = 1.1 %
    for (int k = 0; k < trials; ++k) {
        const auto fit = fit_period(jittered(0, period, n, sigma, 0, random), 0);
        REQUIRE(fit);
        sum2 += std::pow(fit->period_s - period, 2);
        sum_u2 += std::pow(fit->bound_s, 2);
    }
    const double bound = sigma * std::sqrt(12.0 / (n * (double(n) * n - 1)));
    CHECK(std::sqrt(sum2 / trials) == Approx(bound).epsilon(0.05));
    CHECK(std::sqrt(sum_u2 / trials) == Approx(bound).epsilon(0.05));
}

TEST_CASE("missing and extra edges are counted and do not bend the period") {
    std::mt19937 random(2);
    const double period = 16.683e-3;
    const double sigma = 2e-6;
    auto t = jittered(0.5, period, 400, sigma, kTick, random);
    for (const int gone : {350, 201, 200, 77, 10}) {
        t.erase(t.begin() + gone);
    }
    for (const double part : {0.4, 0.5, 0.63}) { // noise spikes in mid-period
        t.push_back(0.5 + period * (std::round(part * 300) + part));
    }
    std::sort(t.begin(), t.end());
    const auto fit = fit_period(t, kTick);
    REQUIRE(fit);
    CHECK(fit->missing == 5);
    CHECK(fit->extra == 3);
    CHECK(fit->count == 395);
    // 4 sigma of the bound for the 395 edges that are left.
    CHECK(std::abs(fit->period_s - period) < 4 * sigma * std::sqrt(12.0 / std::pow(395.0, 3)));
}

TEST_CASE("an extra edge right at the start does not put all others in the wrong") {
    std::mt19937 random(3);
    auto t = jittered(1.0, 63.5e-6, 500, 50e-9, kTick, random);
    t.insert(t.begin(), 1.0 - 24e-6);
    const auto fit = fit_period(t, kTick);
    REQUIRE(fit);
    CHECK(fit->extra == 1);
    CHECK(fit->missing == 0);
    CHECK(fit->count == 500);
}

TEST_CASE("time that was not watched is not missing edges, and the count goes on across it") {
    std::mt19937 random(4);
    const double period = 63.5e-6;
    auto t = jittered(0, period, 20000, 80e-9, kTick, random);
    const double from = t[4000] - 1e-6;
    const double to = t[15000] - 1e-6;
    t.erase(t.begin() + 4000, t.begin() + 15000);
    const auto fit = fit_period(t, kTick, {{from, to}});
    REQUIRE(fit);
    CHECK(fit->missing == 0);
    CHECK(fit->extra == 0);
    CHECK(fit->edges.back().run == 0); // 4000 edges of 80 ns bridge 11000 periods to 0.2 us
    CHECK(fit->edges.back().index == 19999);
    CHECK(std::abs(fit->period_s - period) < 4 * fit->period_u_s);
    CHECK(fit->period_u_s < 1e-12);
}

TEST_CASE("a gap too long to count across starts a new run instead of a guess") {
    std::mt19937 random(5);
    const double period = 63.5e-6;
    auto t = jittered(0, period, 60, 400e-9, kTick, random);
    const auto later = jittered(7.0 + 21e-6, period, 60, 400e-9, kTick, random);
    t.insert(t.end(), later.begin(), later.end());
    const auto fit = fit_period(t, kTick, {{t[59] + 1e-6, 7.0}});
    REQUIRE(fit);
    CHECK(fit->edges.back().run == 1);
    CHECK(fit->missing == 0);
    CHECK(std::abs(fit->period_s - period) < 4 * fit->period_u_s);
}

TEST_CASE("uncertainty of the period covers the truth: jitter, ticks without jitter, wander") {
    std::mt19937 random(6);
    std::uniform_real_distribution<double> uniform(0, 1);
    std::normal_distribution<double> normal(0, 1);
    struct Case {
        const char* name;
        double period, jitter, wander;
        std::size_t n;
        double most; // coverage may be above 99 % only where the bound for ticks is a worst case
    };
    for (const Case& c : {Case{"jitter", 16.7e-3, 3e-6, 0, 120, 0.99},
                          Case{"small jitter", 63.5e-6, 40e-9, 0, 2000, 0.99},
                          Case{"few edges", 16.7e-3, 3e-6, 0, 30, 0.99},
                          Case{"ticks only", 63.556e-6, 0, 0, 500, 1.0},
                          Case{"wander", 16.7e-3, 1e-6, 2e-6, 200, 0.995}}) {
        synthetic::Coverage coverage;
        for (int k = 0; k < 400; ++k) {
            const double period = c.period * (1 + 1e-3 * uniform(random));
            double drift = 0;
            auto t = jittered(uniform(random), period, c.n, c.jitter, 0, random);
            for (double& x : t) {
                drift += c.wander * normal(random);
                x = kTick * std::floor((x + drift) / kTick);
            }
            const auto fit = fit_period(t, kTick);
            REQUIRE(fit);
            coverage.add(fit->period_s, fit->period_u_s, period);
        }
        INFO(c.name << ": rms error " << coverage.rms_error() << ", rms u " << coverage.rms_u());
        // 400 trials: the share's own sd is 1 %.
        CHECK(coverage.share() >= 0.90);
        CHECK(coverage.share() <= c.most);
    }
}

TEST_CASE("two edges are no period") {
    CHECK_FALSE(fit_period({0, 1}, 0));
}

TEST_CASE("edges a little early or late are jitter: not missing, not too many, and no bend") {
    std::mt19937 random(9);
    std::normal_distribution<double> noise(0, 20e-9);
    std::vector<double> t;
    constexpr double kPeriod = 64e-6;
    for (int i = 0; i < 6000; ++i) {
        // Nine lines of every field are 0.4 us late, as a line loop is after the vertical interval.
        const bool bent = i % 312 < 9;
        t.push_back(kPeriod * i + noise(random) + (bent ? 0.4e-6 : 0));
    }
    const auto fit = fit_period(t, 62.5e-9);
    REQUIRE(fit);
    CHECK(fit->missing == 0);
    CHECK(fit->extra == 0);
    CHECK(std::abs(fit->period_s - kPeriod) < 3 * fit->period_u_s);
    // One that really is elsewhere is both.
    t[3000] += 0.3 * kPeriod;
    const auto stray = fit_period(t, 62.5e-9);
    REQUIRE(stray);
    CHECK(stray->missing + stray->extra >= 1);
}
