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
    line_latch.both = line_mode == both;
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

ISR(TIMER4_CAPT_vect) {
    using namespace yokedock::firmware;
    const uint16_t stamp = ICR4;
    const uint8_t control = TCCR4B;
    if (line_latch.both != 0) {
        TCCR4B = static_cast<uint8_t>(control ^ (1 << ICES4));
        TIFR4 = 1 << ICF4; // the change of direction may set the flag
    }
    TIMSK4 = 0;
    const uint32_t time = tick_from_low(stamp);
    if (line_latch.full != 0) { // older than this one
        const uint32_t latched = tick_from_low(line_latch.stamp);
        const uint8_t latched_control = line_latch.tccr4b;
        line_latch.full = 0;
        sei();
        record_line_edge(latched, latched_control);
    }
    sei();
    record_line_edge(time, control);
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
