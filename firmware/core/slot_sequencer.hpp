// SPDX-License-Identifier: MIT
// Walks a SlotPlan, one slot per call, field after field, and carries the fraction of a tick along,
// so that slot starts are exact on average and never a whole tick late. New settings and output on
// or off come into force where a field begins.
//
//   slot k:       advance()    describes slot k + 1, whose compare values load at its start
//   later in it:  note_field() when path.begun is set: what is to be known of the field's start
//
// advance() is short, because the slot handler has little time: the runs of all fields stand ready
// in a ring, so a new run, and a new field, is a pointer. A new plan is hung into the ring by
// whoever asks for it.
#pragma once
#include "firmware/core/rare.hpp"
#include "firmware/core/slot_plan.hpp"

namespace yokedock {
namespace firmware {

class SlotSequencer {
  public:
    /// Starts with plan's first field, output off. plan must outlive its use.
    void begin(SlotPlan* plan) {
        plan_ = plan;
        link_fields(*plan); // a walk before may have led out of it
        path = {};
        begin_plan();
        path.run = plan->runs[0];
        path.slots_left = path.run->slots;
        path.begun = kBegun;
        measure();
        note_field();
    }

    /// Describes the following slot. Called once per slot, from the slot interrupt only.
    void advance() {
        if ((path.run->shape & kShapeWholeLine) == 0) {
            path.starts_line ^= 1;
        }
        if (--path.slots_left == 0) {
            path.run = path.run->next;
            path.slots_left = path.run->slots;
            if ((path.run->shape & kShapeField) != 0) {
                begin_field();
            }
        }
        measure();
    }

    uint16_t length() const { return path.length; }        ///< ticks of the described slot
    uint16_t compare() const { return path.run->compare; } ///< its pulse width - 1, or kNoCompare
    uint8_t shape() const { return path.run->shape; }
    uint8_t starts_line() const { return path.starts_line; }
    uint8_t output() const { return output_; } ///< sync goes out on the pins
    const SlotPlan& plan() const { return *plan_; }

    /// What is noted when a field begins; copied by the main loop, slot interrupt held off.
    struct FieldNote {
        uint32_t time;     ///< for the port: tick of the field's start
        uint32_t fraction; ///< after its first slot
        uint8_t carried;   ///< that slot was a tick longer
        const Run* run;    ///< the field's first
        uint8_t number;    ///< fields begun, modulo 256
    };

    /// wire::FieldStart::accumulator of a note; denominator: path.denominator as of the note.
    static uint32_t accumulator(const FieldNote& note, uint32_t denominator) {
        uint32_t fraction = note.fraction - note.run->step + denominator;
        if (note.carried != 0) {
            fraction += denominator;
        }
        return (note.run->shape & kShapeMidLine) != 0 ? fraction | 0x80000000u : fraction;
    }

    /// A port may do advance() by hand, but for enter_plan().
    struct Path {
        uint16_t length;
        const Run* run; ///< of the described slot
        uint8_t slots_left;
        uint8_t starts_line;
        uint32_t denominator;    ///< taken off at a carry
        uint32_t fraction;       ///< runs from -denominator to -1: overflow is the carry
        volatile uint8_t change; ///< what comes into force where the next field begins
        volatile uint8_t begun;  ///< kBegun: the described slot begins a field, note_field() is
                                 ///< due; and the changes that came into force with it
        FieldNote note;          ///< of the last field
    };
    Path path = {};

    /// Part of advance() where a field begins with another plan.
    YOKEDOCK_RARE void enter_plan() {
        plan_ = requested_plan_;
        requested_plan_ = nullptr;
        begin_plan();
    }

    /// After advance() has begun a field, before the next advance(). Clears path.begun, which is
    /// more than kBegun when the field brings other settings.
    void note_field() {
        path.note.fraction = path.fraction;
        path.note.carried = path.length != path.run->ticks ? 1 : 0;
        path.note.run = path.run;
        ++path.note.number;
        path.begun = 0;
        output_ = requested_output_;
    }

    /// Bits of Path::change and begun.
    static constexpr uint8_t kBegun = 0x01;
    static constexpr uint8_t kChangePlan = 0x02;
    static constexpr uint8_t kChangeOutput = 0x04;

    // ---- from the main loop, with the slot interrupt held off
    // ---------------------------------------

    /// New settings from the next field on; with cut_short, which may be asked while no sync goes
    /// out only, from the next slot but one on. nullptr takes back what has not come into force.
    void request_plan(SlotPlan* plan, bool cut_short = false) {
        requested_plan_ = plan;
        link_fields(*plan_);
        if (plan == nullptr) {
            path.change = static_cast<uint8_t>(path.change & ~kChangePlan);
            return;
        }
        plan_->last[0]->next = plan_->last[1]->next = plan->runs[0];
        path.change = static_cast<uint8_t>(path.change | kChangePlan);
        if (cut_short) {
            path.run = plan_->last[0];
            path.slots_left = 1;
        }
    }
    void request_output(bool on) {
        requested_output_ = on ? 1 : 0;
        path.change = static_cast<uint8_t>(path.change | kChangeOutput);
    }
    uint8_t requested_output() const { return requested_output_; }
    bool change_pending() const { return path.change != 0 || path.begun != 0; }

  private:
    void begin_plan() {
        path.denominator = plan_->denominator;
        path.fraction = 0u - path.denominator;
        path.starts_line = 1;
    }

    void begin_field() {
        const uint8_t change = path.change;
        path.change = 0;
        path.begun = static_cast<uint8_t>(change | kBegun);
        if ((change & kChangePlan) != 0) {
            enter_plan();
        }
    }

    void measure() {
        uint16_t length = path.run->ticks;
        const uint32_t step = path.run->step;
        uint32_t fraction = path.fraction + step;
        if (fraction < step) { // carry
            ++length;
            fraction -= path.denominator;
        }
        path.fraction = fraction;
        path.length = length;
    }

    SlotPlan* plan_ = nullptr;
    SlotPlan* requested_plan_ = nullptr;
    uint8_t output_ = 0;
    uint8_t requested_output_ = 0;
};

} // namespace firmware
} // namespace yokedock
