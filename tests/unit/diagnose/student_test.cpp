// SPDX-License-Identifier: MIT
// Student's t and Welch's degrees of freedom against GSL and published tables.
#include "host/diagnose/student.hpp"
#include <catch2/catch.hpp>
#include <gsl/gsl_cdf.h>

using namespace yokedock::diagnose;

TEST_CASE(
    "Quantiles of Student's t agree with GSL, far out in the tails and between whole degrees") {
    for (const double freedoms : {1.0, 2.0, 3.5, 9.0, 10.25, 30.0, 200.0, 1e5}) {
        for (const double tail : {0.4, 0.05, 0.025, 0.005, 1e-4, 5.9e-5, 1e-7}) {
            INFO(freedoms << " degrees, tail " << tail);
            const double outside = gsl_cdf_tdist_Qinv(tail, freedoms);
            // 1 - tail is itself rounded to 1.1e-16: relative to the tail 1e-9 at 1e-7, and t moves
            // by at most that share (1 / freedoms of it, times the tail's; below 2 here).
            CHECK(student_quantile(1 - tail, freedoms) == Approx(outside).epsilon(3e-9));
            CHECK(student_quantile(tail, freedoms) == Approx(-outside).epsilon(3e-9));
        }
    }
    for (const double tail : {0.1, 0.025, 1e-4, 1e-7}) {
        CHECK(student_quantile(1 - tail, kManyFreedoms) ==
              Approx(gsl_cdf_ugaussian_Qinv(tail)).epsilon(3e-9));
    }
}

TEST_CASE("Quantiles of Student's t are those of the published table") {
    // NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2: rounded to 0.001.
    CHECK(student_quantile(0.975, 1) == Approx(12.706).margin(0.0005));
    CHECK(student_quantile(0.975, 4) == Approx(2.776).margin(0.0005));
    CHECK(student_quantile(0.99, 10) == Approx(2.764).margin(0.0005));
    CHECK(student_quantile(0.999, 100) == Approx(3.174).margin(0.0005));
    CHECK(student_quantile(0.95, kManyFreedoms) == Approx(1.645).margin(0.0005));
}

TEST_CASE("Effective degrees of freedom are those of the guide's example") {
    // JCGM 100:2008, G.4.1, example: four inputs of 0.25 %, 0.57 % and 0.82 % with 9, 4 and 14
    // degrees of freedom give 19.0; two at a time here, which the formula allows when the degrees
    // of the first pair stand for the pair (exact: the sum of squares over freedoms is kept).
    const double a = 0.25 * 0.25;
    const double b = 0.57 * 0.57;
    const double c = 0.82 * 0.82;
    const double pair = effective_freedoms(a, 9, b, 4);
    CHECK(effective_freedoms(a + b, pair, c, 14) == Approx(19.0).margin(0.05));
    CHECK(effective_freedoms(0, 5, 0, 5) == kManyFreedoms);
    CHECK(effective_freedoms(2, kManyFreedoms, 1, kManyFreedoms) == kManyFreedoms);
    CHECK(effective_freedoms(1, 4, 0, 7) == Approx(4));
}

TEST_CASE("A spread seen on few is drawn towards the one known before, and wins with many") {
    const Spread few = moderated({2, 8}, {1, 2});
    CHECK(few.sd == Approx(std::sqrt((8 * 4 + 2 * 1) / 10.0)));
    CHECK(few.freedoms == 10);
    CHECK(moderated({2, 8}, {1, 1e6}).sd == Approx(1).epsilon(1e-4));
}
