// SPDX-License-Identifier: MIT
// A sweep's limits as figures: values and uncertainties worked out beside the assertions.
#include "host/lock/sweep_figures.hpp"
#include "tests/unit/lock/mock_boards.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::lock;
using Catch::Contains;

namespace {

SweepSummary line_sweep() {
    SweepSummary s;
    s.settings.axis = SweepAxis::kHorizontal;
    s.settings.nominal_hz = 15000;
    s.locks_at_nominal = true;
    s.free_run_before = analysis::measured("", "", "Hz", 14950, 0.4, 100, "");
    s.free_run_after = analysis::measured("", "", "Hz", 14962, 0.3, 120, "");
    s.hold_low = {LimitStatus::kFound, 14260, 14240, -1, ""};
    s.hold_high = {LimitStatus::kFound, 15600, 15630, -1, ""};
    s.pull_in_low = {LimitStatus::kFound, 14610, 14590, 0.1, ""};
    s.pull_in_high = {LimitStatus::kFound, 15270, 15300, 0.1, ""};
    return s;
}

const analysis::Figure& figure(const analysis::FigureSet& set, const char* name) {
    const analysis::Figure* f = analysis::find_figure(set, name);
    REQUIRE(f != nullptr);
    return *f;
}

} // namespace

TEST_CASE("a sweep's limits become percentages of the set rate, and its free runs one rate") {
    const analysis::FigureSet set = sweep_figures(line_sweep());
    REQUIRE(set.size() == 4);
    CHECK(figure(set, "h_free_rate_hz").value == Approx(14956));
    // Halves of both, and 12 Hz of drift as a rectangle.
    CHECK(figure(set, "h_free_rate_hz").u ==
          Approx(std::sqrt(0.2 * 0.2 + 0.15 * 0.15 + 12 * 12 / 12.0)));
    CHECK(figure(set, "h_hold_below_pct").value == Approx(5)); // 14250 of 15000 Hz
    CHECK(figure(set, "h_hold_below_pct").u == Approx(100 * 20.0 / 15000 / std::sqrt(12.0)));
    CHECK(figure(set, "h_hold_above_pct").value == Approx(4.1)); // 15615 of 15000 Hz
    CHECK(figure(set, "h_hold_above_pct").u == Approx(100 * 30.0 / 15000 / std::sqrt(12.0)));
    // 14600 to 15285 Hz of 14250 to 15615 Hz; intervals of 20 and 30 Hz at the ends of each.
    const double u_hz = std::hypot(20, 30) / std::sqrt(12.0);
    CHECK(figure(set, "h_pull_in_share_pct").value == Approx(100 * 685.0 / 1365));
    CHECK(figure(set, "h_pull_in_share_pct").u ==
          Approx(100 * 685.0 / 1365 * std::hypot(u_hz / 685, u_hz / 1365)));
}

TEST_CASE("a limit that was not found is not measured, with the sweep's own reason") {
    SweepSummary s = line_sweep();
    s.hold_low = {LimitStatus::kBeyond, 14000, 0, -1, "still locked at the end of the range"};
    s.free_run_after.reset();
    const analysis::FigureSet set = sweep_figures(s);
    CHECK(figure(set, "h_hold_below_pct").status == analysis::FigureStatus::kNotMeasured);
    CHECK(figure(set, "h_hold_below_pct").reason == "still locked at the end of the range");
    CHECK(figure(set, "h_hold_above_pct").value == Approx(4.1));
    CHECK(figure(set, "h_pull_in_share_pct").reason == "still locked at the end of the range");
    CHECK(figure(set, "h_free_rate_hz").value == 14950);
    CHECK(figure(set, "h_free_rate_hz").u == 0.4);
}

TEST_CASE("a range beside the set rate has no width about it, and an empty sweep has no figure") {
    SweepSummary s = line_sweep();
    s.locks_at_nominal = false;
    s.hold_low = {LimitStatus::kFound, 15200, 15190, -1, ""};
    CHECK_THAT(figure(sweep_figures(s), "h_hold_below_pct").reason,
               Contains("15000.000 Hz itself is not held"));
    s.locks_at_nominal = true; // a log that contradicts itself
    CHECK_THAT(figure(sweep_figures(s), "h_hold_below_pct").reason, Contains("not below"));
    for (const analysis::Figure& f : sweep_figures({})) {
        CHECK(f.name.substr(0, 2) == "v_");
        CHECK(f.status == analysis::FigureStatus::kNotMeasured);
        CHECK_FALSE(f.reason.empty());
    }
}
