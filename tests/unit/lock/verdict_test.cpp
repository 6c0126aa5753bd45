// SPDX-License-Identifier: MIT
// The verdict of a sweep: against the board only for what was measured.
#include "host/lock/sweep_search.hpp"
#include "host/lock/verdict.hpp"
#include <catch2/catch.hpp>

using namespace yokedock::lock;
using Catch::Contains;

namespace {

SweepSummary held(double low_hz, double high_hz) {
    SweepSummary s;
    s.settings.axis = SweepAxis::kVertical;
    s.settings.nominal_hz = 60;
    s.settings.low_hz = 50;
    s.settings.high_hz = 70;
    s.settings.step_hz = 0.5;
    s.settings.resolution_hz = 0.1;
    s.complete = true;
    s.locks_at_nominal = true;
    s.nominal_state = BoardState::locked;
    s.hold_low = {LimitStatus::kFound, low_hz, low_hz - 0.1, -1, ""};
    s.hold_high = {LimitStatus::kFound, high_hz, high_hz + 0.1, -1, ""};
    return s;
}

} // namespace

TEST_CASE("a set rate well inside is good, near an end it is not, with the end named") {
    CHECK(standing(held(56, 66)) == Standing::kInside);
    CHECK(reasons_against(held(56, 66)).empty());
    // 10 Hz wide: 15 % are 1.5 Hz.
    CHECK(standing(held(58.6, 68.6)) == Standing::kNearLow);
    CHECK(standing(held(58.4, 68.4)) == Standing::kInside);
    CHECK(standing(held(51.4, 61.4)) == Standing::kNearHigh);
    CHECK_THAT(reasons_against(held(59, 69)).at(0), Contains("1.000 Hz from the lower end"));
    CHECK_THAT(reasons_against(held(51, 61)).at(0), Contains("1.000 Hz from the upper end"));
}

TEST_CASE("a narrow range is against the board even when it is centred") {
    CHECK(standing(held(59.2, 60.9)) == Standing::kNarrow); // 1.7 Hz; 3 % of 60 Hz are 1.8 Hz
    CHECK(standing(held(59.0, 60.9)) == Standing::kInside);
    CHECK_THAT(reasons_against(held(59.5, 60.5)).at(0), Contains("narrow"));
}

TEST_CASE("an end that lies beyond the range swept is never too near") {
    SweepSummary s = held(59, 69);
    s.hold_low.status = LimitStatus::kBeyond;
    CHECK(standing(s) == Standing::kInside);
    s = held(51, 61);
    s.hold_high.status = LimitStatus::kBeyond;
    CHECK(standing(s) == Standing::kInside);
}

TEST_CASE("no lock at the set rate is against the board in words, once it was tried") {
    SweepSummary s;
    s.settings = held(56, 66).settings;
    CHECK(standing(s) == Standing::kUnknown); // cut off before
    CHECK(reasons_against(s).empty());
    s.nominal_state = BoardState::half_rate;
    CHECK_THAT(reasons_against(s).at(0), Contains("60.000 Hz") && Contains("half rate"));
    s.nominal_state = BoardState::undecided;
    s.complete = true;
    CHECK(standing(s) == Standing::kNoLock);
}

TEST_CASE("a sweep that was cut off before both ends has no verdict") {
    SweepSummary s = held(59, 69);
    s.complete = false;
    s.hold_high.status = LimitStatus::kNotMeasured;
    CHECK(standing(s) == Standing::kUnknown);
    CHECK(reasons_against(s).empty());
}

TEST_CASE("findings and verdict say the same of where the set rate stands") {
    for (const double low : {51.0, 54.0, 58.0, 58.6, 59.5, 59.9}) {
        for (const double width : {0.9, 1.7, 5.0, 10.0}) {
            if (low + width < 60) {
                continue;
            }
            SweepSummary s = held(low, low + width);
            add_findings(s);
            REQUIRE_FALSE(s.findings.empty());
            const bool good = s.findings[0].find("well inside") != std::string::npos;
            INFO(low << ' ' << width << ' ' << s.findings[0]);
            CHECK(good == reasons_against(s).empty());
        }
    }
}
