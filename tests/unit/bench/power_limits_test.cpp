// SPDX-License-Identifier: MIT
// Limits in units against codes worked out here from the channel table's numbers, and against the
// firmware's own check of them.
#include "host/bench/channel_codes.hpp"
#include "host/bench/power_limits.hpp"
#pragma GCC diagnostic ignored "-Wvolatile" // the firmware is C++14
#include "firmware/core/guard.hpp"
#include <catch2/catch.hpp>
#include <cmath>

using namespace yokedock;
using namespace yokedock::bench;
using Catch::Contains;

namespace {

PowerLimits whole() {
    PowerLimits l;
    l.supply_min_v = 21.5;
    l.supply_max_v = 26.5;
    l.supply_max_a = 1.0;
    l.soft_start_ms = 500;
    l.soft_start_min_v = 10;
    l.supply_idle_max_a = 0.8;
    l.v_out_min_v = -1.5;
    l.v_out_max_v = 56;
    l.h_peak_max_v = 250;
    l.heatsink_max_c = 95;
    l.v_retrace_missing_ms = 50;
    l.h_retrace_missing_ms = 1;
    l.v_yoke_least_pp_a = 0.08;
    return l;
}

wire::GuardLimits codes_of(const PowerLimits& limits) {
    const auto plan = plan_guard(limits);
    INFO((plan ? std::string() : plan.error().text));
    REQUIRE(plan);
    return plan.value().codes;
}

std::size_t at(ChannelId id) {
    return static_cast<std::size_t>(id);
}

/// What the converter makes of a quantity: the nearest code.
int reading(ChannelId id, double value) {
    return static_cast<int>(std::lround(code_of(id, value)));
}

} // namespace

TEST_CASE("codes are those of the channel table worked out by hand") {
    const wire::GuardLimits c = codes_of(whole());
    // 26.5 V * 0.08 V/V = 2.12 V = 434.176 codes of 5 V / 1024: 434 is the reading at the limit.
    CHECK(c.high[at(ChannelId::supply_v)] == 433);
    CHECK(c.start_high[at(ChannelId::supply_v)] == 433);
    // 21.5 V: 352.256.
    CHECK(c.low[at(ChannelId::supply_v)] == 353);
    // 1 A * 1 V/A: 204.8.
    CHECK(c.high[at(ChannelId::supply_a)] == 204);
    // 56 V * 0.04 + 1 V = 3.24 V: 663.552; -1.5 V: 0.94 V: 192.512.
    CHECK(c.high[at(ChannelId::v_out_v)] == 663);
    CHECK(c.low[at(ChannelId::v_out_v)] == 194);
    // 250 V * 0.01: 512.
    CHECK(c.high[at(ChannelId::h_peak_v)] == 511);
    // 0.08 A * 1.25 V/A: 20.48 codes.
    CHECK(c.span[0] == 21);
    CHECK(c.span[1] == 0);
    // 10 V: 163.84: a reading of 165 is at least 164.5.
    CHECK(c.rail_up == 165);
    CHECK(c.rail_off == 32); // 2 V: 32.768
    // 2.5 V +- 2 %: 501.76 to 522.24.
    CHECK(c.reference_low == 502);
    CHECK(c.reference_high == 522);
    CHECK(c.strikes == 1);
    CHECK(c.loads == 3);
    CHECK(c.watch == 3);
}

TEST_CASE("a hot heat sink is a low code, and an open sensor a high one") {
    const wire::GuardLimits c = codes_of(whole());
    // B law: R(95) = 10k * exp(3950 (1/368.15 - 1/298.15)) = 803.9 ohm; of 10 kohm + R: 76.19.
    const double ohm = 10000 * std::exp(3950 * (1 / 368.15 - 1 / 298.15));
    const double code = 1024 * ohm / (ohm + 10000);
    CHECK(c.low[at(ChannelId::heatsink_c)] == std::lround(code) + 1);
    CHECK(c.high[at(ChannelId::heatsink_c)] > reading(ChannelId::heatsink_c, -30));
    CHECK(c.high[at(ChannelId::heatsink_c)] < 1020);
    CHECK(ntc_celsius(ntc_volts(95)) == Approx(95).epsilon(1e-9));
    PowerLimits none = whole();
    none.heatsink_max_c.reset();
    CHECK(codes_of(none).low[at(ChannelId::heatsink_c)] == 0);
    CHECK(codes_of(none).high[at(ChannelId::heatsink_c)] == 1023);
}

TEST_CASE(
    "wherever the limit falls between two codes, the reading at it trips, and two codes inside "
    "it does not") {
    for (int step = 0; step < 400; ++step) {
        PowerLimits l = whole();
        l.supply_max_v = 24 + step * 0.0173;
        l.supply_min_v = 12 + step * 0.0171;
        l.heatsink_max_c = 60 + step * 0.11;
        const wire::GuardLimits c = codes_of(l);
        const double code_v = kCodeV / 0.08;
        CHECK(reading(ChannelId::supply_v, *l.supply_max_v) > c.high[at(ChannelId::supply_v)]);
        CHECK(reading(ChannelId::supply_v, *l.supply_max_v - 2 * code_v) <=
              c.high[at(ChannelId::supply_v)]);
        CHECK(reading(ChannelId::supply_v, *l.supply_min_v) < c.low[at(ChannelId::supply_v)]);
        CHECK(reading(ChannelId::supply_v, *l.supply_min_v + 2 * code_v) >=
              c.low[at(ChannelId::supply_v)]);
        CHECK(reading(ChannelId::heatsink_c, *l.heatsink_max_c) < c.low[at(ChannelId::heatsink_c)]);
    }
}

TEST_CASE("while it starts the current may be what the resistor lets through, and no more") {
    PowerLimits l = whole();
    // 26.5 V / 22 ohm * 1.1 = 1.325 A, 271.4 codes: it reads 271, and that must trip.
    CHECK(codes_of(l).start_high[at(ChannelId::supply_a)] == 270);
    l.supply_idle_max_a = 2;
    l.supply_max_a = 2.5;
    CHECK(codes_of(l).start_high[at(ChannelId::supply_a)] == 409);
}

TEST_CASE("the firmware takes every plan, also at the ends of what a profile may state") {
    const auto taken = [](const PowerLimits& l) {
        return firmware::Guard::check(codes_of(l)) == 0xFF;
    };
    CHECK(taken(whole()));
    PowerLimits bare;
    bare.supply_max_v = 61;
    bare.supply_max_a = 4.8;
    bare.soft_start_ms = 10;
    bare.soft_start_min_v = 0.5;
    bare.supply_idle_max_a = 0.005;
    CHECK(taken(bare));
    bare.soft_start_ms = 10000;
    bare.v_retrace_missing_ms = 10;
    CHECK(taken(bare));
    bare.v_retrace_missing_ms.reset();
    bare.h_retrace_missing_ms = 0.1;
    CHECK(taken(bare));
    CHECK(codes_of(bare).retrace_ms == 20); // what the device can do
    CHECK(codes_of(bare).watch == 2);
    CHECK_THAT(plan_guard(bare).value().notes.back(), Contains("h_retrace_missing_ms is 0.1"));
}

TEST_CASE("where both retraces are watched the field's time holds: it is longer than a field") {
    CHECK(codes_of(whole()).retrace_ms == 50);
    const auto plan = plan_guard(whole());
    REQUIRE(plan.value().notes.size() == 1);
    CHECK_THAT(plan.value().notes[0], Contains("h_retrace_missing_ms is 1") && Contains("50 ms"));
}

TEST_CASE(
    "every limit that is needed and missing is named at once, and what is unguarded is told") {
    const auto none = plan_guard({});
    REQUIRE_FALSE(none);
    CHECK(none.error().kind == ErrorKind::kUsage);
    CHECK_THAT(none.error().text,
               Contains("limits.supply_max_v") && Contains("limits.supply_max_a") &&
                   Contains("limits.soft_start_ms") && Contains("limits.soft_start_min_v") &&
                   Contains("limits.supply_idle_max_a") && !Contains("v_out") &&
                   Contains("docs/profile.md"));
    PowerLimits l = whole();
    l.supply_max_a.reset();
    CHECK(missing_limits(l) == std::vector<std::string>{"supply_max_a"});
    l = whole();
    l.h_peak_max_v.reset();
    CHECK(plan_guard(l).value().unguarded ==
          std::vector<std::string>{"h_peak_max_v: a horizontal retrace peak that is too high"});
}

TEST_CASE("a limit that the channel cannot read, and limits with nothing between them, are refused "
          "by name") {
    PowerLimits l = whole();
    l.supply_max_v = 63;
    CHECK_THAT(plan_guard(l).error().text, Contains("limits.supply_max_v is 63 V"));
    l = whole();
    l.supply_min_v = 26.5;
    CHECK_THAT(plan_guard(l).error().text, Contains("supply_v"));
}

TEST_CASE("a code in words has the digits of its channel") {
    CHECK(value_text(ChannelId::supply_v, 434) == "26.49 V");
    CHECK(value_text(ChannelId::supply_a, 271) == "1.323 A");
    CHECK(value_text(ChannelId::h_peak_v, 512) == "250.0 V");
}
