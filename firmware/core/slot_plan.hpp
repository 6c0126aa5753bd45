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
constexpr uint8_t kShapeField = 0x04;     ///< the run begins a field
constexpr uint8_t kShapeMidLine = 0x08;   ///< and that field begins in mid-line

/// A run of equal slots, with all that describing one of them takes; the last run of a field leads
/// on to the field after. Longer runs are cut into several of 255 at the most.
struct Run {
    uint16_t compare; ///< pulse width in ticks - 1 (a match ends the pulse one tick later), or
                      ///< kNoCompare where the pulse fills its slot
    uint8_t slots;
    uint8_t shape;
    uint16_t ticks; ///< length of a slot without a carry
    uint32_t step;  ///< added to the fraction by every slot
    const Run* next;
};

/// At most 4 runs of the vertical group (one of them cut in two for its last slot), 5 of up to 1250
/// lines, and 1 half line.
constexpr uint8_t kMaxRuns = 10;

/// Not to be copied: its runs point at each other.
struct SlotPlan {
    uint32_t denominator; ///< of the fraction; half lines and lines have numerators below it
    uint16_t line_compare;
    uint8_t flags;         ///< wire::SyncFlag
    Run runs[2][kMaxRuns]; ///< by "field starts in mid-line"
    Run* last[2];          ///< run of a field, by the same
    uint8_t port_connect;  ///< for the port: how its pins are connected while sync goes out
    uint8_t port_idle;     ///< and their levels while it does not
    wire::SyncAchieved achieved;
};

/// After every field comes one of the same plan: the other parity where interlaced.
inline void link_fields(SlotPlan& plan) {
    const uint8_t interlaced = plan.achieved.half_lines & 1;
    plan.last[0]->next = plan.runs[interlaced];
    plan.last[1]->next = plan.runs[0];
}

/// Fills plan. achieved must come from sync::make_plan.
inline void make_slot_plan(const wire::SyncAchieved& achieved, SlotPlan& plan) {
    plan.achieved = achieved;
    plan.denominator = achieved.half_line_denominator;
    plan.line_compare = static_cast<uint16_t>(achieved.line_sync_ticks - 1);
    plan.flags = achieved.flags;
    const uint32_t half_step = achieved.half_line_numerator;
    uint32_t whole_step = 2 * half_step; // < 2^31: see kMaxDenominator
    uint16_t whole_ticks = static_cast<uint16_t>(2 * achieved.half_line_ticks);
    if (whole_step >= plan.denominator) {
        whole_step -= plan.denominator;
        ++whole_ticks;
    }
    for (uint8_t mid = 0; mid < 2; ++mid) {
        const sync::FieldProgram program = sync::make_field_program(achieved, mid != 0);
        Run* run = plan.runs[mid];
        for (uint8_t i = 0; i < program.count; ++i) {
            const sync::Segment& segment = program.segments[i];
            const bool solid = segment.pulse == sync::Pulse::kSolid;
            const bool vertical = solid || segment.pulse == sync::Pulse::kBroad;
            const bool whole = segment.half_lines_per_slot == 2;
            for (uint16_t left = segment.slots; left != 0; ++run) {
                run->slots = left > 255 ? 255 : static_cast<uint8_t>(left);
                left = static_cast<uint16_t>(left - run->slots);
                run->compare = solid ? kNoCompare : static_cast<uint16_t>(segment.ticks - 1);
                run->shape = static_cast<uint8_t>((whole ? kShapeWholeLine : 0) |
                                                  (vertical ? kShapeVertical : 0));
                run->ticks = whole ? whole_ticks : achieved.half_line_ticks;
                run->step = whole ? whole_step : half_step;
                run->next = run + 1;
            }
        }
        plan.runs[mid][0].shape |=
            static_cast<uint8_t>(kShapeField | (mid != 0 ? kShapeMidLine : 0));
        plan.last[mid] = run - 1;
    }
    link_fields(plan);
}

} // namespace firmware
} // namespace yokedock
