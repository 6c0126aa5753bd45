// SPDX-License-Identifier: MIT
// A sync plan in the form the slot handler walks: runs of equal slots for both field parities, with
// every number it needs already computed, because the handler has 400 cycles for everything.
#pragma once
#include "firmware/core/rare.hpp"
#include "shared/sync/plan.hpp"

namespace yokedock {
namespace firmware {

constexpr uint16_t kNoCompare = 0xFFFF; ///< above every slot length: the compare never matches

/// Bits of Run::shape.
constexpr uint8_t kShapeWholeLine = 0x01; ///< the slot is a whole line, else half a line
constexpr uint8_t kShapeVertical = 0x02;  ///< part of the vertical sync group (broad or solid)

/// A run of equal slots. compare: pulse width in ticks - 1 (a match ends the pulse one tick later),
/// or kNoCompare where the pulse fills its slot. Longer runs are cut into several of 255 at the
/// most.
struct Run {
    uint8_t slots;
    uint8_t shape;
    uint16_t compare;
};

/// At most 5 runs of the vertical group (one of them cut in two for the last slot), 5 of up to 1250
/// lines, 1 half line, and the end mark.
constexpr uint8_t kMaxRuns = 12;

struct SlotPlan {
    uint32_t half_fraction; ///< numerator of what a half line has beyond whole ticks
    uint32_t whole_fraction;
    uint32_t denominator;
    uint16_t half_ticks;
    uint16_t whole_ticks; ///< whole ticks of a line; the fractions' carry included
    uint16_t line_compare;
    uint8_t flags;         ///< wire::SyncFlag
    Run runs[2][kMaxRuns]; ///< by "field starts in mid-line"; ended by slots == 0
    uint8_t port_connect;  ///< for the port: how its pins are connected while sync goes out
    uint8_t port_idle;     ///< and their levels while it does not
    wire::SyncAchieved achieved;
};

/// Fills plan. achieved must come from sync::make_plan.
inline void make_slot_plan(const wire::SyncAchieved& achieved, SlotPlan& plan) {
    plan.achieved = achieved;
    plan.half_fraction = achieved.half_line_numerator;
    plan.denominator = achieved.half_line_denominator;
    plan.half_ticks = achieved.half_line_ticks;
    plan.whole_fraction = 2 * achieved.half_line_numerator; // < 2^31: see kMaxDenominator
    plan.whole_ticks = static_cast<uint16_t>(2 * achieved.half_line_ticks);
    if (plan.whole_fraction >= plan.denominator) {
        plan.whole_fraction -= plan.denominator;
        ++plan.whole_ticks;
    }
    plan.line_compare = static_cast<uint16_t>(achieved.line_sync_ticks - 1);
    plan.flags = achieved.flags;
    for (uint8_t mid = 0; mid < 2; ++mid) {
        const sync::FieldProgram program = sync::make_field_program(achieved, mid != 0);
        Run* run = plan.runs[mid];
        for (uint8_t i = 0; i < program.count; ++i) {
            const sync::Segment& segment = program.segments[i];
            const bool solid = segment.pulse == sync::Pulse::kSolid;
            const bool vertical = solid || segment.pulse == sync::Pulse::kBroad;
            for (uint16_t left = segment.slots; left != 0; ++run) {
                run->slots = left > 255 ? 255 : static_cast<uint8_t>(left);
                left = static_cast<uint16_t>(left - run->slots);
                run->compare = solid ? kNoCompare : static_cast<uint16_t>(segment.ticks - 1);
                run->shape =
                    static_cast<uint8_t>((segment.half_lines_per_slot == 2 ? kShapeWholeLine : 0) |
                                         (vertical ? kShapeVertical : 0));
            }
        }
        run->slots = 0;
    }
}

} // namespace firmware
} // namespace yokedock
