// SPDX-License-Identifier: MIT
// Retrace edges: input capture 4 (line) and 5 (field). The timers hold the low half of the tick, so a stamp needs
// only its high half, from the start of the present slot.
//
// Pipeline: on silicon the synchroniser and edge detector delay a capture by 2.5 to 3.5 cycles (data sheet,
// "External Clock Source", same circuit). The stamp is told as captured; the constant is taken off where the
// real front end's delay is known: calibration, first-hardware checklist.
//
// The handlers move the stamp and open interrupts again, with only themselves shut out: the slot handler must
// not wait for the rest of them.
#pragma GCC optimize("O2")
#include "firmware/ports/avr/line_edges.hpp"

namespace yokedock {
namespace firmware {

LineLatch line_latch;
EdgeCounter line_counter;
EdgeCounter field_counter;

namespace {

uint8_t line_counted;  ///< TCCR4B's edge bit of the counted direction
uint8_t field_counted;
uint8_t field_both;

LineLatch line_now; ///< the edge being recorded

inline uint32_t lock_tick(uint16_t low) {
    InterruptLock lock;
    return tick_from_low(low);
}

inline void record_line_edge(uint32_t time, uint8_t control) {
    const uint8_t direction = control & (1 << ICES4);
    pool.push_line_edge(time, direction != 0);
    if (direction == line_counted) {
        line_counter.edge(time);
    }
}

/// Control byte of a capture timer for a mode: clk/1, first edge direction, noise canceller off.
uint8_t control_for(uint8_t mode) {
    const bool rising = mode != static_cast<uint8_t>(wire::EdgeMode::kFalling);
    return static_cast<uint8_t>((1 << CS40) | (rising ? 1 << ICES4 : 0));
}

} // namespace

void start_edges(uint8_t line_mode, uint8_t field_mode) {
    InterruptLock lock;
    const uint8_t both = static_cast<uint8_t>(wire::EdgeMode::kBoth);
    TCCR4B = control_for(line_mode);
    line_counted = TCCR4B & (1 << ICES4);
    line_latch.both = line_mode == both ? 0xFF : 0;
    line_latch.full = 0;
    TIFR4 = 1 << ICF4;
    TIMSK4 = line_mode != 0 ? 1 << ICIE4 : 0;
    TCCR5B = control_for(field_mode);
    field_counted = TCCR5B & (1 << ICES5);
    field_both = field_mode == both;
    TIFR5 = 1 << ICF5;
    TIMSK5 = field_mode != 0 ? 1 << ICIE5 : 0;
}

void stop_edges() {
    InterruptLock lock;
    TIMSK4 = 0;
    TIMSK5 = 0;
    line_latch.both = 0;
    if (line_latch.full != 0) {
        line_latch.full = 0;
        record_line_edge(tick_from_low(line_latch.stamp), line_latch.tccr4b);
    }
}

} // namespace firmware
} // namespace yokedock

/// Keeps stamp and direction, looks for the other edge when both are wanted, shuts only itself out and opens
/// interrupts: the slot handler must not wait for the rest.
ISR(TIMER4_CAPT_vect, ISR_NAKED) {
    using namespace yokedock::firmware;
    asm volatile("push r24             \n\t"
                 "in   r24, __SREG__   \n\t"
                 "push r24             \n\t"
                 "push r25             \n\t"
                 "lds  r24, %[icr]     \n\t"
                 "sts  %[stamp], r24   \n\t"
                 "lds  r24, %[icr]+1   \n\t"
                 "sts  %[stamp]+1, r24 \n\t"
                 "lds  r24, %[tccr]    \n\t"
                 "sts  %[control], r24 \n\t"
                 "lds  r25, %[both]    \n\t"
                 "andi r25, 0x40       \n\t"
                 "breq 1f              \n\t"
                 "eor  r24, r25        \n\t"
                 "sts  %[tccr], r24    \n\t"
                 "ldi  r24, 0x20       \n\t" // the change of direction may set the flag
                 "out  %[tifr], r24    \n\t"
                 "1: ldi r24, 0        \n\t"
                 "sts  %[timsk], r24   \n\t"
                 "pop  r25             \n\t"
                 "pop  r24             \n\t"
                 "out  __SREG__, r24   \n\t"
                 "pop  r24             \n\t"
                 "sei                  \n\t"
                 "jmp  __vector_line_edge \n\t" ::[icr] "n"(_SFR_MEM_ADDR(ICR4)),
                 [tccr] "n"(_SFR_MEM_ADDR(TCCR4B)), [tifr] "I"(_SFR_IO_ADDR(TIFR4)),
                 [timsk] "n"(_SFR_MEM_ADDR(TIMSK4)), [stamp] "i"(&line_now.stamp),
                 [control] "i"(&line_now.tccr4b), [both] "i"(&line_latch.both));
}

extern "C" void __vector_line_edge() __attribute__((signal, used, externally_visible));
extern "C" void __vector_line_edge() {
    using namespace yokedock::firmware;
    // line_latch holds an older edge or, should the slot handler just have come between, the one after; then it
    // waits for the next turn. Older: it was full when this edge was taken.
    if (line_latch.full != 0 && static_cast<int16_t>(static_cast<uint16_t>(
                                    line_now.stamp - line_latch.stamp)) > 0) {
        record_line_edge(lock_tick(line_latch.stamp), line_latch.tccr4b);
        line_latch.full = 0;
    }
    record_line_edge(lock_tick(line_now.stamp), line_now.tccr4b);
    cli();
    TIMSK4 = 1 << ICIE4;
}

ISR(TIMER5_CAPT_vect) {
    using namespace yokedock::firmware;
    const uint16_t stamp = ICR5;
    const uint8_t control = TCCR5B;
    if (field_both != 0) {
        TCCR5B = static_cast<uint8_t>(control ^ (1 << ICES5));
        TIFR5 = 1 << ICF5;
    }
    TIMSK5 = 0;
    const uint32_t time = tick_from_low(stamp);
    sei();
    pool.push_field_edge(time, (control & (1 << ICES5)) != 0);
    if ((control & (1 << ICES5)) == field_counted) {
        field_counter.edge(time);
    }
    cli();
    TIMSK5 = 1 << ICIE5;
}
