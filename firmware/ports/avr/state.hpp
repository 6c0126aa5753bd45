// SPDX-License-Identifier: MIT
// What interrupts and main loop share. Main touches it with interrupts off (InterruptLock) unless said otherwise.
//
// One time axis: tick 0 is the start of the first slot. Timers 3, 4 and 5 run freely and always hold the low 16
// bits of the tick (they are started so; timebase.cpp). Timer 1 counts from 0 in every slot.
#pragma once
#include "firmware/core/block_pool.hpp"
#include "firmware/core/edge_counter.hpp"
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
extern EdgeCounter line_counter;
extern EdgeCounter field_counter;

/// Set by the slot handler.
struct SlotState {
    uint32_t start;      ///< tick of the present slot
    uint32_t next_start; ///< of the one described by the sequencer
    uint16_t longest;    ///< cycles from overflow to the end of the handler, since the last sync change
    uint8_t tccr1a;      ///< as the pins are connected now
    uint8_t tccr1a_next; ///< as they are to be in the next slot
    uint8_t tccr1a_line; ///< with the line sync pin connected: what a line start needs
    uint8_t vertical;    ///< the present slot belongs to the vertical sync group
    uint8_t field_due;   ///< a field start waits to be recorded
    uint8_t portb_idle;  ///< levels of the sync pins while no timer drives them
    uint16_t line_compare; ///< line sync width of the present slot's plan - 1
    uint8_t capturing;   ///< field starts are recorded
};
extern SlotState slot;

/// Ticks of the device now. Interrupts must be off.
inline uint32_t tick_from_low(uint16_t low) {
    const uint32_t start = slot.start;
    return start + static_cast<uint32_t>(static_cast<int32_t>(
                       static_cast<int16_t>(static_cast<uint16_t>(low - static_cast<uint16_t>(start)))));
}

} // namespace firmware
} // namespace yokedock
