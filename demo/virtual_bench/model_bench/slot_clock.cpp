// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/model_bench/slot_clock.hpp"

namespace yokedock::sim {

SlotClock::SlotClock(const wire::SyncAchieved& plan) : plan_(plan) {
    program_ = sync::make_field_program(plan_, mid_line_);
}

void SlotClock::begin_field() {
    mid_line_ = mid_line_ != (half_lines_ % 2 != 0);
    segment_ = slot_ = half_lines_ = 0;
    program_ = sync::make_field_program(plan_, mid_line_);
}

Slot SlotClock::next() {
    if (segment_ == program_.count) {
        begin_field();
    }
    const sync::Segment& segment = program_.segments[segment_];
    Slot slot;
    slot.start_ticks = ticks_;
    slot.accumulator = accumulator_;
    slot.starts_field = segment_ == 0 && slot_ == 0;
    slot.mid_line = mid_line_;
    slot.starts_line = (half_lines_ + (mid_line_ ? 1U : 0U)) % 2 == 0;
    slot.pulse_ticks = segment.pulse == sync::Pulse::kSolid ? 0 : segment.ticks;
    slot.length_ticks = sync::slot_ticks(plan_, accumulator_, segment.half_lines_per_slot);
    ticks_ += slot.length_ticks;
    half_lines_ += segment.half_lines_per_slot;
    if (++slot_ == segment.slots) {
        slot_ = 0;
        ++segment_;
    }
    return slot;
}

} // namespace yokedock::sim
