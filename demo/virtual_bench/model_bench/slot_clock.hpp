// SPDX-License-Identifier: MIT
// The device's slots (shared/sync/plan.hpp) one after the other: what its slot handler works on.
#pragma once
#include "shared/sync/plan.hpp"
#include <cstdint>

namespace yokedock::sim {

struct Slot {
    std::int64_t start_ticks = 0;
    std::uint32_t length_ticks = 0;
    std::uint32_t pulse_ticks = 0; ///< sync level so long from the start; 0: to the slot's end
    bool starts_line = false;
    bool starts_field = false;
    bool mid_line = false;         ///< of a field's first slot: it stands half a line after a line
    std::uint32_t accumulator = 0; ///< the plan's, at the start
};

class SlotClock {
  public:
    /// plan: one that sync::make_plan returned. The first slot begins a field at tick 0.
    explicit SlotClock(const wire::SyncAchieved& plan);
    [[nodiscard]] Slot next();

  private:
    void begin_field();

    wire::SyncAchieved plan_;
    sync::FieldProgram program_{};
    std::int64_t ticks_ = 0;
    std::uint32_t accumulator_ = 0;
    unsigned segment_ = 0;
    unsigned slot_ = 0;
    unsigned half_lines_ = 0; ///< before the next slot in this field
    bool mid_line_ = false;
};

} // namespace yokedock::sim
