// SPDX-License-Identifier: MIT
// Walks a SlotPlan, one slot per call, field after field, and carries the fraction of a tick along, so that
// slot starts are exact on average and never a whole tick late. New settings and output on or off come into
// force where a field begins.
//
//   call k:      current = slot k (runs now)     next = slot k + 1, whose compare values are loaded at its start
#pragma once
#include "firmware/core/slot_plan.hpp"

namespace yokedock {
namespace firmware {

class SlotSequencer {
  public:
    /// Starts with plan's first field, output off. plan must outlive its use.
    void begin(const SlotPlan* plan) {
        plan_ = plan;
        restart();
        describe();
    }

    /// Describes the following slot. Called once per slot, from the slot interrupt only.
    void advance() {
        field_starts_ = 0;
        if (--slots_left_ == 0) {
            ++run_;
            if (run_->slots == 0) {
                start_field();
            }
            load_run();
        }
        describe();
    }

    uint16_t length() const { return length_; }   ///< ticks of the described slot
    uint16_t compare() const { return compare_; } ///< its pulse width - 1, or kNoCompare
    uint8_t shape() const { return shape_; }
    uint8_t starts_line() const { return starts_line_; }
    uint8_t starts_field() const { return field_starts_; }
    uint8_t output() const { return output_; } ///< sync goes out on the pins
    const SlotPlan& plan() const { return *plan_; }
    uint32_t fields() const { return fields_; }
    /// wire::FieldStart::accumulator of the last field start.
    uint32_t field_accumulator() const { return field_accumulator_; }

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
        slots_left_ = 1;
        while (run_[1].slots != 0) {
            ++run_;
        }
    }

  private:
    void restart() {
        mid_line_ = 0;
        run_ = plan_->runs[0];
        fraction_ = 0u - plan_->denominator; // runs from -denominator to -1: a carry shows a tick
        load_run();
        note_field();
    }

    void start_field() {
        if (requested_plan_ != nullptr) {
            plan_ = requested_plan_;
            requested_plan_ = nullptr;
            mid_line_ = 0;
            fraction_ = 0u - plan_->denominator;
        } // else mid_line_ stands where the last slot of the field left it
        output_ = requested_output_;
        run_ = plan_->runs[mid_line_];
        ++fields_;
        note_field();
    }

    void note_field() {
        field_starts_ = 1;
        field_accumulator_ = fraction_ + plan_->denominator;
        if (mid_line_ != 0) {
            field_accumulator_ |= 0x80000000u;
        }
    }

    void load_run() {
        slots_left_ = run_->slots;
        compare_ = run_->compare;
        shape_ = run_->shape;
    }

    void describe() {
        uint16_t length;
        uint32_t fraction;
        if ((shape_ & kShapeWholeLine) != 0) {
            starts_line_ = 1;
            length = plan_->whole_ticks;
            fraction = plan_->whole_fraction;
        } else {
            starts_line_ = mid_line_ ^ 1;
            mid_line_ ^= 1;
            length = plan_->half_ticks;
            fraction = plan_->half_fraction;
        }
        fraction_ += fraction;
        if (fraction_ < fraction) { // carry
            fraction_ -= plan_->denominator;
            ++length;
        }
        length_ = length;
    }

    const SlotPlan* plan_ = nullptr;
    const Run* run_ = nullptr;
    uint32_t fraction_ = 0;
    uint16_t slots_left_ = 0;
    uint16_t compare_ = 0;
    uint16_t length_ = 0;
    uint8_t shape_ = 0;
    uint8_t starts_line_ = 0;
    uint8_t field_starts_ = 0;
    uint8_t mid_line_ = 0; ///< the next slot would start in mid-line
    uint8_t output_ = 0;
    uint8_t requested_output_ = 0;
    const SlotPlan* requested_plan_ = nullptr;
    uint32_t fields_ = 0;
    uint32_t field_accumulator_ = 0;
};

} // namespace firmware
} // namespace yokedock
