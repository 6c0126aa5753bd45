// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "shared/sync/standards.hpp"
#include <cstring>

namespace yokedock::sim {

IdealSync::IdealSync(const wire::SyncAchieved& plan, double clock_hz, double start_s)
    : plan_(plan), clock_hz_(clock_hz), start_s_(start_s),
      program_(sync::make_field_program(plan, false)) {
    std::uint32_t accumulator = accumulator_;
    slot_end_ticks_ =
        sync::slot_ticks(plan_, accumulator, program_.segments[0].half_lines_per_slot);
    accumulator_ = accumulator;
    prepare();
}

double IdealSync::line_rate_hz() const {
    const double ticks =
        2.0 * (plan_.half_line_ticks +
               static_cast<double>(plan_.half_line_numerator) / plan_.half_line_denominator);
    return clock_hz_ / ticks;
}

double IdealSync::field_rate_hz() const {
    return 2 * line_rate_hz() / plan_.half_lines;
}

void IdealSync::begin_field() {
    mid_line_ = mid_line_ != (half_lines_ % 2 != 0);
    half_lines_ = 0;
    output_ = next_output_;
    if (next_plan_) {
        plan_ = *next_plan_;
        next_plan_.reset();
        accumulator_ = 0;
        const unsigned whole_lines = wire::kSyncPlainVertical | wire::kSyncLineRateSerrations;
        mid_line_ = mid_line_ && (plan_.flags & whole_lines) == 0;
    }
    program_ = sync::make_field_program(plan_, mid_line_);
}

void IdealSync::next_slot() {
    half_lines_ += program_.segments[segment_].half_lines_per_slot;
    if (++slot_ == program_.segments[segment_].slots) {
        slot_ = 0;
        if (++segment_ == program_.count) {
            segment_ = 0;
            begin_field();
        }
    }
    slot_ticks_ = slot_end_ticks_;
    slot_end_ticks_ +=
        sync::slot_ticks(plan_, accumulator_, program_.segments[segment_].half_lines_per_slot);
}

/// Finds the next change of level from the present slot on.
void IdealSync::prepare() {
    for (;;) {
        const sync::Segment& segment = program_.segments[segment_];
        if (rise_due_) {
            rise_due_ = false;
            const bool field_start = segment_ == 0 && slot_ == 0;
            if (!output_ && field_start) {
                next_ = {start_s_ + static_cast<double>(slot_ticks_) / clock_hz_, false, !mid_line_,
                         true};
                return;
            }
            if (output_ && !level_) {
                level_ = true;
                next_ = {start_s_ + static_cast<double>(slot_ticks_) / clock_hz_, true,
                         (half_lines_ + (mid_line_ ? 1u : 0u)) % 2 == 0, field_start};
                return;
            }
        }
        const bool solid = segment.pulse == sync::Pulse::kSolid;
        const std::uint64_t end = slot_ticks_ + segment.ticks;
        next_slot();
        rise_due_ = true;
        if (!solid && level_) {
            level_ = false;
            next_ = {start_s_ + static_cast<double>(end) / clock_hz_, false, false, false};
            return;
        }
    }
}

SyncEdge IdealSync::take() {
    const SyncEdge edge = next_;
    prepare();
    return edge;
}

const wire::SyncSettings* find_standard(const char* name) {
    for (const sync::Standard& standard : sync::kStandards) {
        if (std::strcmp(standard.name, name) == 0) {
            return &standard.settings;
        }
    }
    return nullptr;
}

} // namespace yokedock::sim
