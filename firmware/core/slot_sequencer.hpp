// SPDX-License-Identifier: MIT
// Walks a SlotPlan, one slot per call, field after field, and carries the fraction of a tick along, so that
// slot starts are exact on average and never a whole tick late. New settings and output on or off come into
// force where a field begins.
//
//   call k:      current = slot k (runs now)     described = slot k + 1, whose compare values load at its start
//
// advance() is on the path of every slot and short; what changes only from run to run is done in next_run(),
// and told by begun().
#pragma once
#include "firmware/core/slot_plan.hpp"

namespace yokedock {
namespace firmware {

class SlotSequencer {
  public:
    /// Starts with plan's first field, output off. plan must outlive its use.
    void begin(const SlotPlan* plan) {
        plan_ = plan;
        starts_line_ = 1;
        enter_plan();
        run_ = plan_->runs[0];
        note_field();
        load_run();
        measure();
    }

    /// Describes the following slot. Called once per slot, from the slot interrupt only.
    void advance() {
        begun_ = 0;
        if ((shape_ & kShapeWholeLine) == 0) {
            starts_line_ ^= 1;
        }
        if (--path.slots_left == 0) {
            next_run();
        }
        measure();
    }

    uint16_t length() const { return path.length; }    ///< ticks of the described slot
    uint16_t compare() const { return run_->compare; } ///< its pulse width - 1, or kNoCompare
    uint8_t shape() const { return shape_; }
    uint8_t starts_line() const { return starts_line_; }
    uint8_t output() const { return output_; } ///< sync goes out on the pins
    const SlotPlan& plan() const { return *plan_; }
    uint32_t fields() const { return fields_; }
    /// wire::FieldStart::accumulator of the last field start.
    uint32_t field_accumulator() const { return field_accumulator_; }

    /// What a slot in the middle of a run of whole lines needs. A port may do advance() by hand for such a slot
    /// (steady != 0, and slots_left not about to become 0): step the fraction, and the length follows.
    struct Path {
        uint8_t slots_left;
        uint8_t steady; ///< not 0: whole lines, and nothing else to do; written by the caller
        uint16_t length;
        uint16_t ticks;       ///< length without a carry
        uint32_t step;        ///< added to the fraction by every slot
        uint32_t denominator; ///< taken off at a carry
        uint32_t fraction;    ///< runs from -denominator to -1: overflow is the carry
    };
    Path path = {};

    /// What the last advance() began: nothing, a run (kNewRun), or a field (kNewField as well).
    static constexpr uint8_t kNewRun = 0x01;
    static constexpr uint8_t kNewField = 0x02;
    uint8_t begun() const { return begun_; }

    // ---- from the main loop, with the slot interrupt held off ---------------------------------------

    /// New settings from the next field on. nullptr takes an earlier request back.
    void request_plan(const SlotPlan* plan) { requested_plan_ = plan; }
    void request_output(bool on) { requested_output_ = on ? 1 : 0; }
    uint8_t requested_output() const { return requested_output_; }
    bool change_pending() const {
        return requested_plan_ != nullptr || requested_output_ != output_;
    }
    /// Ends the field with the slot described now. Only for use while no sync goes out.
    void cut_field_short() {
        path.slots_left = 1;
        while (run_[1].slots != 0) {
            ++run_;
        }
    }

  private:
    YOKEDOCK_RARE void next_run() {
        ++run_;
        begun_ = kNewRun;
        if (run_->slots == 0) {
            if (requested_plan_ != nullptr) {
                plan_ = requested_plan_;
                requested_plan_ = nullptr;
                starts_line_ = 1;
                enter_plan();
            }
            output_ = requested_output_;
            run_ = plan_->runs[starts_line_ ^ 1];
            ++fields_;
            note_field();
        }
        load_run();
    }

    void enter_plan() {
        path.denominator = plan_->denominator;
        path.fraction = 0u - plan_->denominator;
    }

    void note_field() {
        begun_ = kNewRun | kNewField;
        field_accumulator_ = path.fraction + path.denominator;
        if (starts_line_ == 0) {
            field_accumulator_ |= 0x80000000u;
        }
    }

    void load_run() {
        path.slots_left = run_->slots;
        shape_ = run_->shape;
        if ((shape_ & kShapeWholeLine) != 0) {
            path.ticks = plan_->whole_ticks;
            path.step = plan_->whole_fraction;
        } else {
            path.ticks = plan_->half_ticks;
            path.step = plan_->half_fraction;
        }
    }

    void measure() {
        uint16_t length = path.ticks;
        uint32_t fraction = path.fraction + path.step;
        if (fraction < path.step) { // carry
            ++length;
            fraction -= path.denominator;
        }
        path.fraction = fraction;
        path.length = length;
    }

    uint8_t shape_ = 0;
    uint8_t starts_line_ = 0;
    uint8_t begun_ = 0;
    const SlotPlan* plan_ = nullptr;
    const Run* run_ = nullptr;
    const SlotPlan* requested_plan_ = nullptr;
    uint8_t output_ = 0;
    uint8_t requested_output_ = 0;
    uint32_t fields_ = 0;
    uint32_t field_accumulator_ = 0;
};

} // namespace firmware
} // namespace yokedock
