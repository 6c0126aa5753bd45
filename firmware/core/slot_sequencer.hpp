// SPDX-License-Identifier: MIT
// Walks a SlotPlan, one slot per call, field after field, and carries the fraction of a tick along,
// so that slot starts are exact on average and never a whole tick late. New settings and output on
// or off come into force where a field begins.
//
//   slot k:       advance()     describes slot k + 1, whose compare values load at its start
//   later in it:  note_begun()  when advance() began a run
//   then or in    stage()       makes the run after that one ready
//   the next slot
//
// advance() is short, because the slot handler has little time; so it finds the next run already
// staged.
#pragma once
#include "firmware/core/rare.hpp"
#include "firmware/core/slot_plan.hpp"

namespace yokedock {
namespace firmware {

class SlotSequencer {
  public:
    /// Starts with plan's first field, output off. plan must outlive its use.
    void begin(const SlotPlan* plan) {
        plan_ = field_plan_ = plan;
        field_run_ = plan->runs[0];
        path = {};
        path.denominator = plan->denominator;
        path.fraction = 0u - plan->denominator;
        path.starts_line = 1;
        path.begun = kNewRun | kNewField;
        load(field_run_, *plan, path.run);
        measure();
        note_begun();
        stage();
    }

    /// Describes the following slot. Called once per slot, from the slot interrupt only.
    void advance() {
        if ((path.run.shape & kShapeWholeLine) == 0) {
            path.starts_line ^= 1;
        }
        if (--path.run.slots_left == 0) {
            path.run = path.staged;
            path.begun = path.staged_begins;
            if (path.begun == (kNewRun | kNewField | kNewPlan)) {
                switch_plan();
            }
        }
        measure();
    }

    /// advance() began a run (path.begun): takes note of it, and of a field's start. Before the
    /// next advance(). Clears path.begun.
    void note_begun() {
        if ((path.begun & kNewField) != 0) {
            run_ = field_run_;
            enter_field();
        } else {
            ++run_;
        }
        path.begun = 0;
        path.todo = static_cast<uint8_t>(path.todo | kStage);
    }

    /// After note_begun(), while kStage is set: makes the run after that one ready. Before the
    /// run's last slot is described.
    YOKEDOCK_RARE void stage() {
        path.todo = static_cast<uint8_t>(path.todo & ~kStage);
        const Run* next = run_ + 1;
        if (next->slots != 0) {
            load(next, *plan_, path.staged);
            path.staged_begins = kNewRun;
        } else {
            stage_field();
        }
    }
    /// It must be done before the next advance().
    bool stage_now() const { return path.run.slots_left == 1; }

    /// Plan and output of the field begun, before note_begun().
    const SlotPlan& field_plan() const { return *field_plan_; }
    uint8_t field_output() const { return field_output_; }

    /// The field begun brings other settings.
    bool settings_change() const {
        return (path.begun & kNewPlan) != 0 ||
               ((path.begun & kNewField) != 0 && field_output_ != output_);
    }

    uint16_t length() const { return path.length; }       ///< ticks of the described slot
    uint16_t compare() const { return path.run.compare; } ///< its pulse width - 1, or kNoCompare
    uint8_t shape() const { return path.run.shape; }
    uint8_t starts_line() const { return path.starts_line; }
    uint8_t output() const { return output_; } ///< sync goes out on the pins
    const SlotPlan& plan() const { return *plan_; }

    /// What is noted when a field begins; copied by the main loop, slot interrupt held off.
    struct FieldNote {
        uint32_t fraction;
        uint8_t carried;
        uint8_t mid_line;
        uint8_t number; ///< fields begun, modulo 256
        const SlotPlan* plan;
    };
    const FieldNote& field_note() const { return noted_; }

    /// wire::FieldStart::accumulator of a note.
    static uint32_t accumulator(const FieldNote& note) {
        // The fraction was noted after the step of the field's first slot: take that back.
        const SlotPlan& plan = *note.plan;
        const bool whole = (plan.runs[note.mid_line][0].shape & kShapeWholeLine) != 0;
        uint32_t fraction = note.fraction - (whole ? plan.whole_fraction : plan.half_fraction);
        if (note.carried != 0) {
            fraction += plan.denominator;
        }
        fraction += plan.denominator;
        return note.mid_line != 0 ? fraction | 0x80000000u : fraction;
    }

    static constexpr uint8_t kNewRun = 0x01;
    static constexpr uint8_t kNewField = 0x02;
    static constexpr uint8_t kNewPlan = 0x04;

    /// Bits of Path::todo.
    static constexpr uint8_t kStage = 0x01;
    static constexpr uint8_t kServe = 0x02;

    /// A run as advance() uses it.
    struct LiveRun {
        uint8_t slots_left;
        uint8_t shape;
        uint16_t compare;
        uint16_t ticks; ///< length of a slot without a carry
        uint32_t step;  ///< added to the fraction by every slot
    };

    /// A port may do advance() by hand, but for switch_plan().
    struct Path {
        uint16_t length;
        uint8_t starts_line;
        uint8_t begun;        ///< what the last advance() began and stage() has not seen yet
        uint32_t denominator; ///< taken off at a carry
        uint32_t fraction;    ///< runs from -denominator to -1: overflow is the carry
        LiveRun run;
        LiveRun staged;        ///< the run after it
        uint8_t staged_begins; ///< what it begins: kNew... bits
        volatile uint8_t todo; ///< kStage: stage() is still to be called; kServe: serve_requests()
    };
    Path path = {};

    /// Part of advance() where a field begins with another plan.
    void switch_plan() {
        path.starts_line = 1;
        path.denominator = field_plan_->denominator;
        path.fraction = 0u - path.denominator;
    }

    // ---- from the main loop, with the slot interrupt held off
    // ---------------------------------------

    /// New settings from the next field on; with cut_short, which may be asked while no sync goes
    /// out only, from the next slot but one on. nullptr takes an earlier request back.
    /// serve_requests() does the rest.
    void request_plan(const SlotPlan* plan, bool cut_short = false) {
        requested_plan_ = plan;
        cut_short_ = cut_short ? 1 : 0;
        path.todo = static_cast<uint8_t>(path.todo | kServe);
    }
    void request_output(bool on) {
        requested_output_ = on ? 1 : 0;
        path.todo = static_cast<uint8_t>(path.todo | kServe);
    }
    uint8_t requested_output() const { return requested_output_; }
    bool change_pending() const {
        return requested_plan_ != nullptr || requested_output_ != output_ || path.todo != 0;
    }

    /// Where stage() is called from, when kServe is set, nothing has begun and kStage is not set:
    /// makes the next field ready anew.
    YOKEDOCK_RARE void serve_requests() {
        path.todo = static_cast<uint8_t>(path.todo & ~kServe);
        if (cut_short_ != 0) {
            cut_short_ = 0;
            while (run_[1].slots != 0) {
                ++run_;
            }
            path.run.slots_left = 1;
            stage_field();
        } else if (run_[1].slots == 0) { // a field is staged: with the old request
            stage_field();
        }
    }

  private:
    __attribute__((always_inline)) static void load(const Run* run, const SlotPlan& plan,
                                                    LiveRun& live) {
        live.slots_left = run->slots;
        live.shape = run->shape;
        live.compare = run->compare;
        if ((run->shape & kShapeWholeLine) != 0) {
            live.ticks = plan.whole_ticks;
            live.step = plan.whole_fraction;
        } else {
            live.ticks = plan.half_ticks;
            live.step = plan.half_fraction;
        }
    }

    YOKEDOCK_RARE void stage_field() {
        path.staged_begins = kNewRun | kNewField;
        field_plan_ = plan_;
        uint8_t mid_line = (plan_->achieved.half_lines & 1) != 0 ? starts_mid_line_ ^ 1 : 0;
        if (requested_plan_ != nullptr) {
            field_plan_ = requested_plan_;
            mid_line = 0;
            path.staged_begins |= kNewPlan;
        }
        field_run_ = field_plan_->runs[mid_line];
        field_mid_line_ = mid_line;
        field_output_ = requested_output_;
        load(field_run_, *field_plan_, path.staged);
    }

    void enter_field() {
        if (field_plan_ != plan_) {
            enter_plan();
        }
        starts_mid_line_ = field_mid_line_;
        output_ = field_output_;
        noted_.fraction = path.fraction;
        noted_.carried = path.length != path.run.ticks ? 1 : 0;
        noted_.mid_line = starts_mid_line_;
        noted_.plan = plan_;
        ++noted_.number;
    }

    YOKEDOCK_RARE void enter_plan() {
        plan_ = field_plan_;
        if (requested_plan_ == plan_) {
            requested_plan_ = nullptr;
        }
    }

    void measure() {
        uint16_t length = path.run.ticks;
        uint32_t fraction = path.fraction + path.run.step;
        if (fraction < path.run.step) { // carry
            ++length;
            fraction -= path.denominator;
        }
        path.fraction = fraction;
        path.length = length;
    }

    const SlotPlan* plan_ = nullptr;
    const Run* run_ = nullptr; ///< the run described, as far as stage() has seen
    const SlotPlan* requested_plan_ = nullptr;
    const SlotPlan* field_plan_ = nullptr; ///< of the field staged
    const Run* field_run_ = nullptr;
    uint8_t field_mid_line_ = 0;
    uint8_t field_output_ = 0;
    uint8_t starts_mid_line_ = 0; ///< the field described does
    uint8_t output_ = 0;
    uint8_t requested_output_ = 0;
    uint8_t cut_short_ = 0;
    FieldNote noted_ = {}; ///< of the last field
};

} // namespace firmware
} // namespace yokedock
