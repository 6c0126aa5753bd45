// SPDX-License-Identifier: MIT
#include "firmware/core/slot_sequencer.hpp"
#include "shared/sync/standards.hpp"
#include <catch2/catch.hpp>
#include <vector>

using namespace yokedock;
using namespace yokedock::firmware;

namespace {

/// A plan that stays where it is made.
struct Plan : SlotPlan {
    explicit Plan(const wire::SyncSettings& settings) : SlotPlan{} {
        const sync::PlanResult plan = sync::make_plan(settings, 16000000);
        REQUIRE(plan.ok);
        make_slot_plan(plan.achieved, *this);
    }
    Plan(const Plan&) = delete;
    Plan& operator=(const Plan&) = delete;
};

struct Slot {
    std::uint64_t start;
    std::uint16_t length;
    std::uint16_t compare;
    bool starts_line;
    bool field;
    std::uint32_t accumulator; ///< where field
    bool output;
};

/// A port in small: what the slot handler and the handler after the line sync do. `before` runs
/// once per slot.
template <class Before>
std::vector<Slot> walk(SlotSequencer& sequencer, std::size_t slots, Before before) {
    std::vector<Slot> seen;
    std::uint64_t next = 0;
    for (std::size_t i = 0; i < slots; ++i) {
        before(i);
        next += sequencer.length();
        sequencer.advance();
        const bool field = sequencer.path.begun != 0;
        if (field) {
            sequencer.note_field();
        }
        seen.push_back({next, sequencer.length(), sequencer.compare(), sequencer.starts_line() != 0,
                        field,
                        SlotSequencer::accumulator(sequencer.path.note, sequencer.path.denominator),
                        sequencer.output() != 0});
    }
    return seen;
}

std::vector<Slot> walk(SlotSequencer& sequencer, std::size_t slots) {
    return walk(sequencer, slots, [](std::size_t) {});
}

} // namespace

TEST_CASE("slots of every standard follow the field programs, field after field") {
    for (const sync::Standard& s : sync::kStandards) {
        CAPTURE(s.name);
        Plan plan(s.settings);
        SlotSequencer sequencer;
        sequencer.begin(&plan);
        const auto seen = walk(sequencer, 4000);
        std::size_t i = 0;
        while (!seen[i].field) {
            ++i;
        }
        for (int fields = 0; fields < 6; ++fields) {
            const bool mid = (seen[i].accumulator >> 31) != 0;
            CHECK(mid == !seen[i].starts_line);
            const sync::FieldProgram program = sync::make_field_program(plan.achieved, mid);
            std::uint32_t accumulator = seen[i].accumulator & 0x7FFFFFFF;
            for (int segment = 0; segment < program.count; ++segment) {
                const sync::Segment& want = program.segments[segment];
                for (int n = 0; n < want.slots; ++n, ++i) {
                    REQUIRE(seen[i].field == (segment == 0 && n == 0));
                    REQUIRE(seen[i].compare ==
                            (want.pulse == sync::Pulse::kSolid ? kNoCompare : want.ticks - 1));
                    REQUIRE(seen[i].length ==
                            sync::slot_ticks(plan.achieved, accumulator, want.half_lines_per_slot));
                }
            }
        }
    }
}

TEST_CASE("an interlaced standard's fields start at a line start and in mid-line in turn") {
    Plan plan(sync::kStandards[0].settings);
    SlotSequencer sequencer;
    sequencer.begin(&plan);
    std::vector<bool> mid;
    for (const Slot& slot : walk(sequencer, 3000)) {
        if (slot.field) {
            mid.push_back((slot.accumulator >> 31) != 0);
        }
    }
    REQUIRE(mid.size() > 8);
    for (std::size_t i = 1; i < mid.size(); ++i) {
        CHECK(mid[i] != mid[i - 1]);
    }
}

TEST_CASE("output goes on and off where a field begins") {
    Plan plan(sync::kStandards[0].settings);
    SlotSequencer sequencer;
    sequencer.begin(&plan);
    // Asked at every place of a field in turn.
    for (std::size_t at = 1; at < 270; at += 7) {
        const bool on = sequencer.output() == 0;
        const auto seen = walk(sequencer, 600, [&](std::size_t i) {
            if (i == at) {
                sequencer.request_output(on);
            }
        });
        int changes = 0;
        for (std::size_t i = 1; i < seen.size(); ++i) {
            if (seen[i].output != seen[i - 1].output) {
                ++changes;
                CHECK(seen[i].field);
                CHECK(i >= at);
                CHECK(i <= at + 275); // the next field start: a field has 271 or 272 slots
            }
        }
        CHECK(changes == 1);
        CHECK(!sequencer.change_pending());
    }
}

TEST_CASE("new settings begin with a field of their own, at a line start and with no fraction") {
    Plan before(sync::kStandards[0].settings);
    Plan after(sync::kStandards[1].settings);
    for (std::size_t at = 3; at < 300; at += 11) {
        SlotSequencer sequencer;
        sequencer.begin(&before);
        const auto seen = walk(sequencer, 900, [&](std::size_t i) {
            if (i == at) {
                sequencer.request_plan(&after);
            }
        });
        std::size_t change = 0;
        for (std::size_t i = 0; i < seen.size() && change == 0; ++i) {
            if (seen[i].length ==
                after.achieved.half_line_ticks) { // 512: no slot of the old plan is that long
                change = i;
            }
        }
        REQUIRE(change > at);
        CHECK(change <= at + 275);
        CHECK(seen[change].field);
        CHECK(seen[change].accumulator == 0);
        CHECK(seen[change].starts_line);
        CHECK(&sequencer.plan() == &after);
        CHECK(!sequencer.change_pending());
    }
}

TEST_CASE("without output, new settings need not wait for the field's end") {
    Plan before(sync::kStandards[0].settings);
    Plan after(sync::kStandards[1].settings);
    SlotSequencer sequencer;
    sequencer.begin(&before);
    walk(sequencer, 100);
    sequencer.request_plan(&after, true);
    walk(sequencer, 5);
    CHECK(&sequencer.plan() == &after);
}
