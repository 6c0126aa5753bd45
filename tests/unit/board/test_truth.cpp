// SPDX-License-Identifier: MIT
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/truth.hpp"
#include "shared/sync/standards.hpp"
#include <cmath>

using namespace yokedock;
using namespace yokedock::sim;

TEST_CASE("The truth's linearity figures are the exact ones of an exponential") {
    // Measurements, table for i = 1 - exp(-a t) over the whole of 0..1. The truth judges the middle
    // 90 %, where the curve is again such an exponential with 0.9 a: so a is given as a / 0.9.
    struct Row {
        double a, end, lsq, spacing_mean, spacing;
    };
    for (const Row row :
         {Row{0.02, 0.2500, 0.1670, 1.800, 0.900}, Row{0.05, 0.6250, 0.4187, 4.500, 2.250},
          Row{0.10, 1.2498, 0.8415, 8.999, 4.497}, Row{0.20, 2.4986, 1.6988, 17.995, 8.976}}) {
        std::vector<double> t;
        std::vector<double> v;
        for (int k = 0; k <= 5000; ++k) {
            t.push_back(3 + 2e-3 * k);
            v.push_back(1 - std::exp(-row.a / 0.9 * k / 5000.0));
        }
        RampTruth r;
        judge_trace(t, v, r);
        CAPTURE(row.a);
        CHECK(r.linearity_end_pct ==
              Approx(row.end).margin(2e-4)); // the table's last digit, 2001 points
        CHECK(r.linearity_lsq_pct ==
              Approx(row.lsq).epsilon(2e-3)); // least squares on 2001 points, not integrals
        CHECK(r.spacing_mean_pct == Approx(row.spacing_mean).margin(1e-3));
        CHECK(r.spacing_pct == Approx(row.spacing).margin(1e-3));
    }
}

TEST_CASE("Ideal sync makes every standard's edges at the plan's rates, each line start one line "
          "after the last") {
    for (const sync::Standard& standard : sync::kStandards) {
        const auto plan = sync::make_plan(standard.settings, 16000000);
        REQUIRE(plan.ok);
        IdealSync ideal(plan.achieved, 16e6);
        double last_line = NAN;
        double last_field = NAN;
        double last = -1;
        bool level = false;
        int fields = 0;
        CAPTURE(standard.name);
        while (fields < 5) {
            const SyncEdge e = ideal.take();
            REQUIRE(e.time_s > last);
            REQUIRE(e.tip != level);
            last = e.time_s;
            level = e.tip;
            if (e.line_start && !std::isnan(last_line)) {
                const double lines = (e.time_s - last_line) * ideal.line_rate_hz();
                // An unbroken vertical pulse swallows line starts; else they come one line apart to
                // one tick.
                REQUIRE(std::fabs(lines - std::round(lines)) < 0.002);
                REQUIRE((lines < 1.1 || (standard.settings.flags & wire::kSyncPlainVertical) != 0));
            }
            last_line = e.line_start ? e.time_s : last_line;
            if (e.field_start) {
                if (!std::isnan(last_field)) {
                    REQUIRE(e.time_s - last_field ==
                            Approx(1 / ideal.field_rate_hz()).margin(1.0 / 16e6));
                }
                last_field = e.time_s;
                ++fields;
            }
        }
        CHECK(ideal.line_rate_hz() ==
              Approx(static_cast<double>(standard.settings.line_rate_numerator) /
                     standard.settings.line_rate_denominator));
    }
}

TEST_CASE("The healthy board locks to its sync, stays in the channels' ranges and reads as built") {
    const BoardTruth t = measure_truth(demo_board(), *find_standard("525/59.94"));
    CHECK(t.line.locked);
    CHECK(t.field.locked);
    CHECK(t.line.rate_hz == Approx(15734.2657).epsilon(1e-6));
    CHECK(t.field.rate_hz == Approx(59.94006).epsilon(1e-5));
    CHECK(t.line.jitter_s < 0.111e-6);
    CHECK(t.vertical.peak_to_peak == Approx(0.8).margin(0.05));
    CHECK(t.horizontal.peak_to_peak == Approx(3.9).margin(0.3));
    // Element size 2 (max - min) / (max + min) <= 0.10 (ISO 9241-303) is spacing_pct <= 5; line:
    // commercial 10 %.
    CHECK(t.vertical.spacing_pct < 5);
    CHECK(t.horizontal.spacing_pct < 10);
    CHECK(t.h_peak_v < 500);
    CHECK(t.v_out_max_v > 1.9 * t.supply_v); // boost works
    CHECK(t.v_out_max_v < 100);
    // Retrace fits the blanking: 20 lines, and 10.7 us plus a little overscan.
    CHECK(t.field.phase_s + t.vertical.retrace_extremes_s < 20 / 15734.0);
    CHECK(t.horizontal.retrace_extremes_s < 12e-6);
}

TEST_CASE("The rolling board runs free above the sync rate and does not lock; its line side does") {
    const BoardParameters p = demo_board("quillwood13_rolls.json");
    const BoardTruth with_sync = measure_truth(p, *find_standard("525/59.94"));
    CHECK_FALSE(with_sync.field.locked);
    CHECK(with_sync.line.locked);
    const BoardTruth without = measure_truth(p, *find_standard("525/59.94"), {.sync = false});
    CHECK(without.field.rate_hz > 61);
    CHECK(without.field.rate_hz < 66);
}

TEST_CASE("The 50 Hz board locks to 625/50") {
    const BoardTruth t =
        measure_truth(demo_board("quillwood13_50hz.json"), *find_standard("625/50"));
    CHECK(t.line.locked);
    CHECK(t.field.locked);
    CHECK(t.vertical.spacing_pct < 6);
}
