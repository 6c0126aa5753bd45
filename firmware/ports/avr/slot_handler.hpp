// SPDX-License-Identifier: MIT
#pragma once
#include "firmware/ports/avr/state.hpp"

/// Around calls from the handler: what a function may change and the handler has not saved.
#define YOKEDOCK_SAVE                                                                              \
    "push r0 \n\tpush r1 \n\tpush r20 \n\tpush r21 \n\tpush r22 \n\tpush r23 \n\tclr r1 \n\t"
#define YOKEDOCK_RESTORE "pop r23 \n\tpop r22 \n\tpop r21 \n\tpop r20 \n\tpop r1 \n\tpop r0 \n\t"

namespace yokedock {
namespace firmware {

/// Main loop: port_connect and port_idle of a plan. Composite sync is OC1A, line sync OC1C:
/// inverting where active low.
inline void set_port_bytes(SlotPlan& plan) {
    const bool composite_high = (plan.flags & wire::kSyncCompositePositive) != 0;
    const bool line_high = (plan.flags & wire::kSyncSeparateLinePositive) != 0;
    plan.port_connect = static_cast<uint8_t>((1 << WGM11) | (composite_high ? 0x80 : 0xC0) |
                                             (line_high ? 0x08 : 0x0C));
    plan.port_idle =
        static_cast<uint8_t>((composite_high ? 0 : kCompositePin) | (line_high ? 0 : kLinePin));
}

/// Cycles of the handler after its last look at the count: registers restored and return. longest
/// is kept without.
constexpr uint8_t kEpilogueCycles = 41;

/// Sets timers 1, 3, 4 and 5 up on one tick axis and starts the slots with this plan, output off.
/// Interrupts must be off; they run from the caller's sei() on. plan must stay valid.
void start_slots(SlotPlan* plan);

/// Main loop, interrupts off, output off: idle levels of the sync pins for this plan.
void set_idle_levels(const SlotPlan& plan);

} // namespace firmware
} // namespace yokedock
