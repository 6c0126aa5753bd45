// SPDX-License-Identifier: MIT
#pragma once
#include "firmware/ports/avr/state.hpp"

namespace yokedock {
namespace firmware {

/// Port B with the composite and line sync pins at the idle levels of these wire::SyncFlag bits.
inline uint8_t idle_portb(uint8_t flags) {
    return static_cast<uint8_t>(
        ((flags & wire::kSyncCompositePositive) != 0 ? 0 : kCompositePin) |
        ((flags & wire::kSyncSeparateLinePositive) != 0 ? 0 : kLinePin));
}

/// Cycles of the handler after its last look at the count: registers restored and return. longest is kept without.
constexpr uint8_t kEpilogueCycles = 41;

/// Sets timers 1, 3, 4 and 5 up on one tick axis and starts the slots with this plan, output off. Interrupts must
/// be off; they run from the caller's sei() on. plan must stay valid.
void start_slots(const SlotPlan* plan);

/// Main loop, interrupts off, output off: idle levels of the sync pins for these flags.
void set_idle_levels(uint8_t flags);

} // namespace firmware
} // namespace yokedock
