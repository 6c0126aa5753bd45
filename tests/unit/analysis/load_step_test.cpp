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

constexpr int kLoads = 40;

/// 40 loads, the whole range, each measured by so many benches that differ by what they claim.
LoadCoverage cover(const Bench& b, unsigned seed, int repeats) {
    std::mt19937 random(seed);
    LoadCoverage c;
    for (int k = 0; k < kLoads; ++k) {
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

// 320 pairs: the share's own sd is 1.2 % at 95 %. The truth is drawn from what the bench claims of
// itself, so 95.4 % is what right uncertainties give.
void check(const LoadCoverage& c, double most) {
    WARN("R " << c.ohms.share() << ", L " << c.henries.share() << " of " << c.henries.total
              << ", rms error in u: R " << c.ohms.rms_error() << ", L " << c.henries.rms_error()
              << ", mean " << c.ohms.mean_error() << ", " << c.henries.mean_error()
              << "; second rise " << c.second << ", unexplained " << c.unexplained);
    CHECK(c.ohms.share() >= 0.90);
    CHECK(c.ohms.share() <= most);
    CHECK(c.henries.share() >= 0.90);
    CHECK(c.henries.share() <= most);
    CHECK(c.bounds <= 8);
    CHECK(c.second <= 3); // of 320; healthy coils have none
    CHECK(c.unexplained <= 3);
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
    check(cover(bench(false), 1, 8), 0.99);
}

TEST_CASE("40 loads of 0.05 to 40 mH and 0.2 to 60 ohm lie within 2 u, horizontal channel") {
    check(cover(bench(true), 2, 8), 0.99);
}

TEST_CASE("a calibrated bench covers 40 loads, too: noise, lag and origin are what is left") {
    check(cover(calibrated(false, 0.4), 3, 4), 0.99);
    check(cover(calibrated(true, 0.4), 4, 4), 0.99);
}

// One reading's error of a quantiser without noise is uniform: 2 u hold all of it.
TEST_CASE("without noise the quantiser's error is covered") {
    check(cover(calibrated(false, 0.02), 5, 4), 1.0);
    check(cover(calibrated(true, 0.02), 6, 4), 1.0);
}
