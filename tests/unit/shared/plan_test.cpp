// SPDX-License-Identifier: MIT
#include "shared/sync/plan.hpp"
#include "shared/sync/standards.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <string>

using namespace yokedock;
using namespace yokedock::sync;

namespace {
constexpr std::uint32_t kClock = 16000000;

wire::SyncSettings standard(const std::string& name) {
    for (const Standard& s : kStandards) {
        if (s.name == name) {
            return s.settings;
        }
    }
    throw std::runtime_error("no such standard");
}

int refused_field(const wire::SyncSettings& s) {
    const PlanResult plan = make_plan(s, kClock);
    return plan.ok ? -1 : plan.bad_field;
}

double us(int ticks) {
    return ticks / 16.0;
}
} // namespace

TEST_CASE("every standard of the table is made, at exactly its rate") {
    for (const Standard& s : kStandards) {
        const PlanResult plan = make_plan(s.settings, kClock);
        CAPTURE(s.name);
        REQUIRE(plan.ok);
        const wire::SyncAchieved& a = plan.achieved;
        // Two half lines of the plan times the line rate is the clock: as whole numbers, so
        // exactly.
        const auto half = static_cast<std::uint64_t>(a.half_line_ticks) * a.half_line_denominator +
                          a.half_line_numerator;
        CHECK(2 * half * s.settings.line_rate_numerator == static_cast<std::uint64_t>(kClock) *
                                                               s.settings.line_rate_denominator *
                                                               a.half_line_denominator);
        CHECK(a.half_line_numerator < a.half_line_denominator);
    }
}

TEST_CASE("pulse widths of the interlaced standards lie within the published tolerances") {
    // SMPTE 170M-2004: 4.70, 2.30, 4.70 us +- 0.10; ITU-R BT.470-6: 4.7 +- 0.2, 2.35 +- 0.1, 4.7 +-
    // 0.1 (BT.1700).
    const wire::SyncAchieved ntsc = make_plan(standard("525/59.94"), kClock).achieved;
    CHECK(std::abs(us(ntsc.line_sync_ticks) - 4.70) <= 0.10);
    CHECK(std::abs(us(ntsc.equalising_ticks) - 2.30) <= 0.10);
    CHECK(std::abs(us(ntsc.serration_ticks) - 4.70) <= 0.10);
    CHECK(std::abs(us(ntsc.half_line_ticks - ntsc.serration_ticks) - 27.1) <= 0.0625); // one tick
    const wire::SyncAchieved pal = make_plan(standard("625/50"), kClock).achieved;
    CHECK(std::abs(us(pal.line_sync_ticks) - 4.7) <= 0.2);
    CHECK(std::abs(us(pal.equalising_ticks) - 2.35) <= 0.1);
    CHECK(std::abs(us(pal.serration_ticks) - 4.7) <= 0.1);
    CHECK(std::abs(us(pal.half_line_ticks - pal.serration_ticks) - 27.3) <= 0.0625);
    CHECK(pal.half_line_ticks == 512); // 64 us
    CHECK(pal.half_line_numerator == 0);
}

TEST_CASE(
    "two fields of an interlaced standard are a whole number of lines, with the published groups") {
    for (const char* name : {"525/59.94", "625/50", "mono-525/60"}) {
        const wire::SyncAchieved a = make_plan(standard(name), kClock).achieved;
        for (const bool mid : {false, true}) {
            const FieldProgram program = make_field_program(a, mid);
            int half_lines = 0, pre = 0, broad = 0, post = 0, position = mid ? 1 : 0;
            for (int i = 0; i < program.count; ++i) {
                const Segment& segment = program.segments[i];
                if (segment.pulse == Pulse::kEqualising) {
                    (broad == 0 ? pre : post) += segment.slots;
                }
                broad += segment.pulse == Pulse::kBroad ? segment.slots : 0;
                if (segment.pulse == Pulse::kLine) {
                    CHECK(position % 2 == 0); // line syncs only where lines start
                }
                half_lines += segment.slots * segment.half_lines_per_slot;
                position += segment.slots * segment.half_lines_per_slot;
            }
            const int group = std::string(name) == "625/50" ? 5 : 6;
            CHECK(half_lines == a.half_lines);
            CHECK(pre == group);
            CHECK(broad == group);
            CHECK(post == group);
        }
    }
}

TEST_CASE("slot starts never stray a whole tick and are exact on average") {
    const wire::SyncAchieved a = make_plan(standard("525/59.94"), kClock).achieved;
    std::uint32_t accumulator = 0;
    std::uint64_t at = 0;
    for (std::uint64_t n = 1; n <= 100000; ++n) {
        at += slot_ticks(a, accumulator, 1);
        // n half lines: n * 16 MHz * 286 / (2 * 4.5 MHz), rounded down
        const std::uint64_t ideal = n * 16000000ull * 286 / 9000000;
        REQUIRE(at == ideal);
    }
    std::uint32_t jump = 0;
    CHECK(slot_ticks(a, jump, 100000) == at);
    CHECK(jump == accumulator);
}

TEST_CASE("each value out of range is refused with its own field number") {
    const wire::SyncSettings good = standard("525/59.94");
    CHECK(refused_field(good) == -1);
    const auto with = [&](auto change) {
        wire::SyncSettings s = good;
        change(s);
        return refused_field(s);
    };
    CHECK(with([](auto& s) {
              s.line_rate_numerator = 9999;
              s.line_rate_denominator = 1;
          }) == 0);
    CHECK(with([](auto& s) {
              s.line_rate_numerator = 20001;
              s.line_rate_denominator = 1;
          }) == 0);
    CHECK(with([](auto& s) { s.line_rate_denominator = 0; }) == 1);
    CHECK(with([](auto& s) { s.line_rate_denominator = 1000001; }) == 1);
    CHECK(with([](auto& s) { s.half_lines = 199; }) == 2);
    CHECK(with([](auto& s) { s.half_lines = 2501; }) == 2);
    CHECK(with([](auto& s) { s.line_sync_ns = 400; }) == 3);
    CHECK(with([](auto& s) { s.line_sync_ns = 20000; }) == 3);
    CHECK(with([](auto& s) { s.equalising_ns = 400; }) == 4);
    CHECK(with([](auto& s) { s.serration_ns = 0; }) == 5);
    CHECK(with([](auto& s) { s.broad_pulses = 0; }) == 7);
    CHECK(with([](auto& s) { s.pre_pulses = s.post_pulses = s.broad_pulses = 60; }) == 7);
    CHECK(with([](auto& s) { s.flags = 0x20; }) == 9);
    const wire::SyncSettings lines = standard("262");
    const auto line_rate = [&](auto change) {
        wire::SyncSettings s = lines;
        change(s);
        return refused_field(s);
    };
    CHECK(line_rate([](auto&) {}) == -1);
    CHECK(line_rate([](auto& s) { s.half_lines = 525; }) == 2);
    CHECK(line_rate([](auto& s) {
              s.pre_pulses = 1;
              s.equalising_ns = 2300;
          }) == 6);
    CHECK(line_rate([](auto& s) { s.broad_pulses = 5; }) == 7);
    CHECK(line_rate([](auto& s) {
              s.post_pulses = 3;
              s.equalising_ns = 2300;
          }) == 8);
}

TEST_CASE("a rate given with large numbers is the same rate") {
    // 16 kHz as 4294960000 / 268435: twice the numerator does not fit 32 bits, and it divides the
    // clock.
    wire::SyncSettings s = standard("625/50");
    s.line_rate_numerator = 4294960000u;
    s.line_rate_denominator = 268435;
    const PlanResult plan = make_plan(s, kClock);
    REQUIRE(plan.ok);
    CHECK(plan.achieved.half_line_ticks == 500);
    CHECK(plan.achieved.half_line_numerator == 0);
    CHECK(plan.achieved.half_line_denominator == 1);
}
