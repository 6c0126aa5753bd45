// SPDX-License-Identifier: MIT
// The time between two looks at a channel, against the sampler itself: its plan is walked line by
// line, and no gap may be longer than what was said of the schedule.
#include "firmware/core/schedule_watch.hpp"
#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <random>

using namespace yokedock;
using namespace yokedock::firmware;

namespace {

/// Longest gaps as the sampler makes them, ticks; 0 where a channel came less than twice.
std::array<std::uint32_t, 8> walked(const wire::CaptureSettings& s, const SampleTiming& t,
                                    int lines) {
    Sampler sampler;
    sampler.configure(s, t.line_ticks, conversion_ticks(s.adc_prescale_log2), t.spacing);
    sampler.enable(true);
    std::array<std::uint32_t, 8> longest{};
    std::array<std::uint32_t, 8> last{};
    std::array<bool, 8> seen{};
    std::uint32_t start = 0;
    for (int line = 0; line < lines; ++line, start += t.line_ticks) {
        const std::uint16_t place =
            sampler.plan(static_cast<std::uint16_t>(start), t.line_ticks, 1);
        if (place == 0) {
            continue;
        }
        const std::uint32_t at = start + place;
        Trigger trigger{};
        REQUIRE(sampler.take(
            static_cast<std::uint16_t>(at + conversion_ticks(s.adc_prescale_log2) + 20), trigger));
        sampler.refill();
        const std::uint8_t c = trigger.channel;
        if (seen[c]) {
            longest[c] = std::max(longest[c], at - last[c]);
        }
        seen[c] = true;
        last[c] = at;
    }
    return longest;
}

} // namespace

TEST_CASE("no gap of a schedule is longer than said, and for places in step it is as said") {
    std::mt19937 engine(1);
    const auto random = [&engine] { return static_cast<std::uint32_t>(engine()); };
    for (int n = 0; n < 400; ++n) {
        wire::CaptureSettings s;
        s.adc_prescale_log2 = static_cast<std::uint8_t>(4 + random() % 3);
        s.line_edge_mode = static_cast<std::uint8_t>(random() % 2);
        const auto line = static_cast<std::uint16_t>(889 + random() % 700);
        s.entries = static_cast<std::uint8_t>(1 + random() % 12);
        const bool together = n % 2 == 0;
        const auto places = static_cast<std::uint16_t>(1 + random() % 16);
        for (int i = 0; i < s.entries; ++i) {
            wire::ScheduleEntry& e = s.schedule[i];
            e.channel = static_cast<std::uint8_t>(random() % 5);
            e.places = together ? places : static_cast<std::uint16_t>(1 + random() % 30);
            e.first_place = static_cast<std::uint16_t>(1 + random() % (line / 3));
            e.step = static_cast<std::uint16_t>(random() % (line / 2 / e.places));
        }
        const SampleTiming t = timing_of(s, line, false);
        const Gaps said = gaps_of(s, t);
        const auto seen = walked(s, t, 12000);
        for (std::size_t c = 0; c < 8; ++c) {
            INFO("schedule " << n << ", channel " << c);
            if (said.channel[c] == Gaps::kNever) {
                REQUIRE(seen[c] == 0);
            } else if (together) {
                REQUIRE(seen[c] == said.channel[c]);
            } else {
                REQUIRE(seen[c] <= said.channel[c]);
            }
        }
    }
}

TEST_CASE("the guard's own schedule is good enough by its own rule, at every line rate") {
    wire::GuardLimits l;
    for (int i = 0; i < wire::kGuardChannels; ++i) {
        l.low[i] = 10;
        l.high[i] = 1000;
    }
    l.low[7] = 0; // no limit for the reference
    l.high[7] = kAdcCodes - 1;
    l.span[1] = 50;
    for (std::uint16_t line = 889; line <= 1600; ++line) {
        l.strikes = 1;
        CHECK(watches_enough(guard_schedule(l, line, true), l, line, false, 16000000));
        // Seven lines from one look to the next, or eight where the places go back by 13 steps;
        // with two strikes twice that, the conversion and its handler must fit in a millisecond.
        l.strikes = 2;
        const auto schedule = guard_schedule(l, line, true);
        const int after = conversion_ticks(schedule.adc_prescale_log2) + kResultWindowTicks;
        const int gap = std::max(7 * line + line / 16, 8 * line - 13 * (line / 16));
        CHECK(watches_enough(schedule, l, line, false, 16000000) == (2 * gap <= 16000 - after));
    }
}
