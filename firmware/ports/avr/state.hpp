// SPDX-License-Identifier: MIT
// What interrupts and main loop share. Main touches it with interrupts off (InterruptLock) unless
// said otherwise.
//
// One time axis: tick 0 is the start of the first slot. Timers 3, 4 and 5 run freely and always
// hold the low 16 bits of the tick (they are started so; timebase.cpp). Timer 1 counts from 0 in
// every slot.
#pragma once
#include "firmware/core/block_pool.hpp"
#include "firmware/core/edge_counter.hpp"
#include "firmware/core/guard.hpp"
#include "firmware/core/limits.hpp"
#include "firmware/core/sampler.hpp"
#include "firmware/core/slot_sequencer.hpp"
#include "firmware/ports/avr/pins.hpp"
#include <avr/interrupt.h>

namespace yokedock {
namespace firmware {

/// Interrupts off for its life time; restores what was before.
class InterruptLock {
  public:
    InterruptLock() : status_(SREG) { cli(); }
    ~InterruptLock() {
        asm volatile("" ::: "memory");
        SREG = status_;
    }
    InterruptLock(const InterruptLock&) = delete;
    InterruptLock& operator=(const InterruptLock&) = delete;

  private:
    uint8_t status_;
};

using Pool = BlockPool<kPoolBlocks, InterruptLock>;

extern Pool pool;
extern SlotSequencer sequencer;
extern Sampler sampler;
extern Guard guard;
extern EdgeCounter line_counter;
extern EdgeCounter field_counter;

/// Set by the slot handler.
struct SlotState {
    uint16_t next_low; ///< tick of the slot the sequencer describes, low and high half
    uint16_t next_high;
    uint16_t
        longest;    ///< cycles from overflow to the end of the handler, since the last sync change
    uint8_t tccr1a; ///< as the pins are connected now
    uint8_t tccr1a_line; ///< with the line sync pin connected: what a line start needs
    uint8_t vertical;    ///< the described slot belongs to the vertical sync group (kShapeVertical
                         ///< or 0)
    uint8_t field_connect[2]; ///< what the field sync unit does where that group ends, and begins
    uint8_t portb_idle;       ///< levels of the sync pins while no timer drives them
    uint16_t line_compare;    ///< line sync width of the present slot's plan - 1
};
extern SlotState slot;

/// The tick whose low half this is, not more than 32767 ticks away from that of the slot.
inline uint32_t tick_near(uint16_t low, uint16_t next_low, uint16_t next_high) {
    const int16_t away = static_cast<int16_t>(static_cast<uint16_t>(low - next_low));
    uint16_t high = next_high;
    if (away < 0 && low > next_low) {
        --high;
    } else if (away >= 0 && low < next_low) {
        ++high;
    }
    return (static_cast<uint32_t>(high) << 16) | low;
}

/// The same for a tick near now. Interrupts must be off.
inline uint32_t tick_from_low(uint16_t low) {
    return tick_near(low, slot.next_low, slot.next_high);
}

/// The tick now. What is made of the three numbers needs no lock: the slot handler must not wait.
inline uint32_t tick_now() {
    uint16_t now;
    uint16_t next_low;
    uint16_t next_high;
    {
        InterruptLock lock;
        now = TCNT4;
        next_low = slot.next_low;
        next_high = slot.next_high;
    }
    return tick_near(now, next_low, next_high);
}

} // namespace firmware
} // namespace yokedock
