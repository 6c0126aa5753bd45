// SPDX-License-Identifier: MIT
#include "host/bench/rates.hpp"
#include "host/lock/stimulus.hpp"
#include "shared/sync/plan.hpp"
#include "shared/sync/standards.hpp"
#include <catch2/catch.hpp>
#include <cmath>

using namespace yokedock;
using namespace yokedock::lock;

namespace {
constexpr std::uint32_t kClock = 16000000;
}

TEST_CASE("every standard is swept on both axes: the rate asked for, the other one kept") {
    for (const sync::Standard& standard : sync::kStandards) {
        for (const SweepAxis axis : {SweepAxis::kVertical, SweepAxis::kHorizontal}) {
            const auto made = default_sweep(axis, standard.settings, kClock);
            REQUIRE(made.ok());
            const SweepSettings& s = made.value();
            REQUIRE(check_sweep(s, false).ok());
            const auto base = sync::make_plan(standard.settings, kClock);
            const double line0 = bench::line_rate(base.achieved, kClock).hz();
            const double field0 = bench::field_rate(base.achieved, kClock).hz();
            for (int i = 0; i <= 50; ++i) {
                const double rate = s.low_hz + (s.high_hz - s.low_hz) * i / 50;
                const auto at = sync_at(s, rate);
                INFO(standard.name << " " << rate << (at ? "" : at.error().text));
                REQUIRE(at.ok());
                const auto plan = sync::make_plan(at.value(), kClock);
                REQUIRE(plan.ok);
                const double line = bench::line_rate(plan.achieved, kClock).hz();
                const double field = bench::field_rate(plan.achieved, kClock).hz();
                // Half of one or two half lines in a field of about 500.
                const double trim = 1.01 / at.value().half_lines;
                if (axis == SweepAxis::kVertical) {
                    CHECK(std::abs(field - rate) <= 0.0005 + 1e-9);
                    CHECK(std::abs(line / line0 - 1) <= trim);
                } else {
                    CHECK(std::abs(line - rate) <= 0.005 + 1e-9);
                    CHECK(std::abs(field / field0 - 1) <= trim);
                }
            }
        }
    }
}

TEST_CASE("what cannot or should not be swept is refused in words") {
    SweepSettings s =
        default_sweep(SweepAxis::kHorizontal, sync::kStandards[0].settings, kClock).value();
    const auto says = [](const Status& status, const char* words) {
        REQUIRE_FALSE(status.ok());
        CHECK(status.error().kind == ErrorKind::kUsage);
        CHECK_THAT(status.error().text, Catch::Contains(words));
    };
    SweepSettings low = s;
    low.low_hz = 0.9 * s.nominal_hz;
    says(check_sweep(low, false), "--allow-low");
    CHECK(check_sweep(low, true).ok());
    SweepSettings outside = s;
    outside.high_hz = s.nominal_hz - 1;
    says(check_sweep(outside, false), "set line rate");
    SweepSettings fine = s;
    fine.resolution_hz = 100;
    says(check_sweep(fine, false), "--resolution-hz is 100");
    SweepSettings wide = s;
    wide.high_hz = 30000;
    says(check_sweep(wide, false), "line rates of");
    CHECK_FALSE(sync_at(s, s.high_hz + 1).ok());
}
