// SPDX-License-Identifier: MIT
#include "firmware/core/edge_counter.hpp"
#include "firmware/core/sampler.hpp"
#include <catch2/catch.hpp>
#include <vector>

using namespace yokedock;
using namespace yokedock::firmware;

namespace {

struct Planned {
    std::uint32_t time;
    std::uint16_t place;
    std::uint8_t channel;
};

/// Lines of 1017 ticks; every conversion's result is taken `latency` ticks after it is there.
std::vector<Planned> run(const wire::CaptureSettings& settings, int lines, std::uint8_t prescale) {
    Sampler sampler;
    const std::uint16_t conversion = conversion_ticks(prescale);
    sampler.configure(settings, 1016, conversion, trigger_spacing(conversion, 1016, false));
    sampler.enable(true);
    std::vector<Planned> seen;
    std::vector<std::uint32_t> on_the_way;
    for (int line = 0; line < lines; ++line) {
        const auto start = static_cast<std::uint32_t>(line) * 1017u;
        while (!on_the_way.empty() && on_the_way.front() + conversion + 300u < start) {
            Trigger trigger{};
            const bool good = sampler.take(
                static_cast<std::uint16_t>(on_the_way.front() + conversion + 100), trigger);
            REQUIRE(good);
            REQUIRE(trigger.time_low == static_cast<std::uint16_t>(on_the_way.front()));
            REQUIRE(trigger.channel == seen[seen.size() - on_the_way.size()].channel);
            on_the_way.erase(on_the_way.begin());
            sampler.refill();
        }
        const std::uint16_t place = sampler.plan(static_cast<std::uint16_t>(start), 1017, 1);
        if (place != 0) {
            std::uint8_t channel = 0;
            sampler.sole_channel(channel);
            seen.push_back({start + place, place, channel});
            on_the_way.push_back(start + place);
        }
    }
    return seen;
}

} // namespace

TEST_CASE("the entries of a schedule take the lines in turn, each with its own places") {
    wire::CaptureSettings settings;
    settings.entries = 2;
    settings.schedule[0] = {1, 300, 10, 3};
    settings.schedule[1] = {5, 400, 0, 1};
    const auto seen = run(settings, 60, 4);
    REQUIRE(seen.size() > 50);
    const std::uint16_t places[] = {300, 310, 320};
    for (std::size_t i = 0; i < seen.size(); ++i) {
        CHECK(seen[i].channel == (i % 2 == 0 ? 1 : 5));
        CHECK(seen[i].place == (i % 2 == 0 ? places[i / 2 % 3] : 400));
    }
}

TEST_CASE("triggers keep the converter's time between them, whatever the schedule") {
    for (std::uint8_t prescale = 4; prescale <= 7; ++prescale) {
        wire::CaptureSettings settings;
        settings.entries = 1;
        settings.schedule[0] = {0, 0, 97, 10};
        const auto seen = run(settings, 400, prescale);
        REQUIRE(seen.size() > 80);
        for (std::size_t i = 1; i < seen.size(); ++i) {
            CHECK(seen[i].time - seen[i - 1].time >=
                  std::uint32_t{conversion_ticks(prescale)} + kResultLatencyTicks);
        }
    }
}

TEST_CASE("in half-line slots a place beyond the half is triggered in the second slot") {
    wire::CaptureSettings settings;
    settings.entries = 1;
    settings.schedule[0] = {2, 700, 0, 1};
    Sampler sampler;
    sampler.configure(settings, 1016, conversion_ticks(4),
                      trigger_spacing(conversion_ticks(4), 1016, false));
    CHECK(sampler.plan(1000, 508, 1) == 0);
    CHECK(sampler.plan(1508, 509, 0) == 192);
    CHECK(sampler.plan(2017, 508, 1) == 0);
    CHECK(sampler.plan(2525, 508, 0) == 192);
}

TEST_CASE("a result without a trigger of the right age is not told, and the one after it is") {
    wire::CaptureSettings settings;
    settings.entries = 1;
    settings.schedule[0] = {2, 100, 0, 1};
    Sampler sampler;
    sampler.configure(settings, 1016, 216, trigger_spacing(216, 1016, false));
    Trigger trigger{};
    CHECK_FALSE(sampler.take(500, trigger)); // nothing planned
    CHECK(sampler.plan(1000, 1016, 1) == 100);
    CHECK_FALSE(sampler.take(1150, trigger)); // not triggered yet at 1150 - 216
    CHECK(sampler.take(1400, trigger));
    CHECK(trigger.time_low == 1100);
    sampler.refill();
    CHECK(sampler.plan(2016, 1016, 1) == 100); // this one's trigger is lost
    CHECK(sampler.plan(3032, 1016, 1) == 100);
    CHECK_FALSE(sampler.take(3400, trigger)); // its channel was never set for sure
    sampler.refill();
    CHECK(sampler.plan(4048, 1016, 1) == 100);
    CHECK(sampler.take(4400, trigger));
    CHECK(trigger.time_low == 4148);
    CHECK(sampler.late() == 3);
}

TEST_CASE("edges missing and too many are counted by their intervals") {
    EdgeCounter counter;
    counter.reset({1016, 8, 9}); // 1016 8/9 ticks
    std::uint32_t time = 60000;  // passes 65536 on the way
    const auto at = [&](std::uint32_t ticks) {
        time += ticks;
        counter.edge(static_cast<std::uint16_t>(time));
    };
    for (int i = 0; i < 100; ++i) {
        at(1017);
    }
    CHECK(counter.edges() == 100);
    CHECK(counter.extra() == 0);
    at(300); // too many
    at(717);
    at(2034); // one missing
    at(1017);
    // The board is dark for 10000 lines: the low halves do not show it.
    const std::uint32_t gap = 10000u * 9152u / 9u;
    counter.note_gap(gap);
    time += gap;
    counter.edge(static_cast<std::uint16_t>(time));
    at(1017);
    CHECK(counter.has_long());
    counter.settle(counter.take_long());
    CHECK(counter.extra() == 1);
    CHECK(counter.missing() == 1 + 9999);
    CHECK(counter.edges() == 106);
}
