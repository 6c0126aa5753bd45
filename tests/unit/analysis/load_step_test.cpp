// SPDX-License-Identifier: MIT
// Resistance and inductance from a load step: coverage over the range of loads, bad input, odd
// benches.
#include "tests/unit/analysis/load_bench.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>
#include <cstdio>

using namespace load_bench;

TEST_CASE("40 loads of 0.05 to 40 mH and 0.2 to 60 ohm are covered by their uncertainty") {
    for (const bool horizontal : {false, true}) {
        const Bench b = bench(horizontal);
        std::mt19937 random(horizontal ? 2 : 1);
        synthetic::Coverage ohms;
        synthetic::Coverage henries;
        int bounds = 0, second = 0, bad = 0;
        for (int k = 0; k < 40; ++k) {
            const Load load{log_uniform(0.2, 60, random), log_uniform(0.05e-3, 40e-3, random)};
            synthetic::Coverage o, h;
            double ur = 0, ul = 0;
            for (int again = 0; again < 10; ++again) {
                const Truth truth = draw_truth(b, random);
                const LoadStep step = measure(b, load, truth, random);
                REQUIRE(step.ok);
                second += step.second.found;
                bad += !step.residuals.good;
                if (step.resistance.status == FigureStatus::kMeasured) {
                    ohms.add(step.resistance.value, step.resistance.u, load.ohm);
                    o.add(step.resistance.value, step.resistance.u, load.ohm);
                    ur = step.resistance.u;
                }
                if (step.inductance.status == FigureStatus::kMeasured) {
                    henries.add(step.inductance.value, total_u(step.inductance), load.henry);
                    h.add(step.inductance.value, total_u(step.inductance), load.henry);
                    ul = step.inductance.u;
                } else {
                    ++bounds;
                    CHECK(step.inductance.value > load.henry);
                }
            }
            printf("%s R %.3g L %.3g uH tau %.3g us: R %d/%d u %.2g%% err %.2g%%; L %d/%d u %.2g%% "
                   "err %.2g%%\n",
                   b.prefix.c_str(), load.ohm, load.henry * 1e6,
                   load.henry / (load.ohm + 10.4) * 1e6, o.inside, o.total, 100 * ur / load.ohm,
                   100 * o.rms_error() / load.ohm, h.inside, h.total, 100 * ul / load.henry,
                   100 * h.rms_error() / load.henry);
        }
        printf("%s R %.3f L %.3f of %d bounds %d second %d bad %d\n", b.prefix.c_str(),
               ohms.share(), henries.share(), henries.total, bounds, second, bad);
    }
}
