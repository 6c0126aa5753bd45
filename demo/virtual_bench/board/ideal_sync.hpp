// SPDX-License-Identifier: MIT
// Composite sync as a perfect device would make it, from the shared sync plan: every edge in time
// order. Drives a board without firmware. As on the device, other settings and the output's on or
// off come into force where a field begins.
#pragma once
#include "demo/virtual_bench/board_port.hpp"
#include "shared/sync/plan.hpp"
#include <cstdint>
#include <optional>

namespace yokedock::sim {

struct SyncEdge {
    double time_s = 0;
    bool tip = false;
    bool line_start = false;  ///< leading edge at the start of a line
    bool field_start = false; ///< first pulse of a field's group
};

class IdealSync {
  public:
    /// plan: from sync::make_plan with clock_hz. The first field starts at start_s, on a line
    /// start.
    IdealSync(const wire::SyncAchieved& plan, double clock_hz, double start_s = 0);

    /// The next edge, without taking it.
    [[nodiscard]] const SyncEdge& peek() const { return next_; }
    SyncEdge take();

    /// Other settings, from a field that has not been looked at yet: the next one, or the one after
    /// it when peek() stands at a field's start. Lines go on without a jump where the new plan
    /// allows a field to begin in mid-line; a plan of whole lines begins on a line start.
    void change_plan(const wire::SyncAchieved& plan) { next_plan_ = plan; }
    /// Output on or off, from the same field. While it is off only field starts come, their level
    /// not tip.
    void set_output(bool on) { next_output_ = on; }
    /// A change asked for has not come into force yet.
    [[nodiscard]] bool change_pending() const {
        return next_plan_.has_value() || next_output_ != output_;
    }

    /// Of the plan in force.
    [[nodiscard]] double field_rate_hz() const;
    [[nodiscard]] double line_rate_hz() const;

  private:
    void prepare();
    void next_slot();
    void begin_field();

    wire::SyncAchieved plan_;
    double clock_hz_;
    double start_s_;
    std::uint64_t slot_ticks_ = 0; ///< start of the present slot, ticks since start_s
    std::uint64_t slot_end_ticks_ = 0;
    std::uint32_t accumulator_ = 0;
    sync::FieldProgram program_{};
    unsigned segment_ = 0;
    unsigned slot_ = 0;
    unsigned half_lines_ = 0; ///< before the present slot in this field
    bool mid_line_ = false;   ///< this field starts in mid-line
    bool rise_due_ = true;    ///< the slot's leading edge has not been given yet
    bool level_ = false;
    bool output_ = true;
    bool next_output_ = true;
    std::optional<wire::SyncAchieved> next_plan_;
    SyncEdge next_;
};

/// Settings of a standard by name ("525/59.94"); nullptr when unknown.
[[nodiscard]] const wire::SyncSettings* find_standard(const char* name);

} // namespace yokedock::sim
