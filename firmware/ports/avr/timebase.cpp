// SPDX-License-Identifier: MIT
// Puts timers 1, 3, 4 and 5 on one tick axis.
//
// The prescaler hold of GTCCR does not stop timers that run at clk/1, so they are started one after
// the other by four writes of two cycles each, from counts that make up for it: afterwards all hold
// the same number at the same cycle. That is read back, the same way, and corrected by what is
// found.
#include "firmware/ports/avr/slot_handler.hpp"
#include "firmware/ports/avr/video.hpp"

namespace yokedock {
namespace firmware {

namespace {

constexpr uint8_t kRun = 1 << CS30; ///< clk/1, same bit in every 16-bit timer

/// Count of a timer less that of timer 1, read in a fixed sequence (lds: 2 cycles each).
#define YOKEDOCK_TIMER_LAG(timer, lag)                                                             \
    do {                                                                                           \
        uint16_t first;                                                                            \
        uint16_t second;                                                                           \
        asm volatile("lds %A0, %2   \n\t"                                                          \
                     "lds %B0, %2+1 \n\t"                                                          \
                     "lds %A1, %3   \n\t"                                                          \
                     "lds %B1, %3+1 \n\t"                                                          \
                     : "=&r"(first), "=&r"(second)                                                 \
                     : "n"(_SFR_MEM_ADDR(TCNT1)), "n"(_SFR_MEM_ADDR(timer)));                      \
        lag = static_cast<uint16_t>(second - first - 4);                                           \
    } while (0)

/// Takes lag ticks off a running timer's count; from the read of the low byte to the write of it
/// are 10 cycles.
#define YOKEDOCK_SHIFT_TIMER(timer, lag)                                                           \
    do {                                                                                           \
        uint16_t add = static_cast<uint16_t>(10 - lag);                                            \
        uint16_t count;                                                                            \
        asm volatile("lds %A0, %2   \n\t"                                                          \
                     "lds %B0, %2+1 \n\t"                                                          \
                     "add %A0, %A1  \n\t"                                                          \
                     "adc %B0, %B1  \n\t"                                                          \
                     "nop           \n\t"                                                          \
                     "nop           \n\t"                                                          \
                     "sts %2+1, %B0 \n\t"                                                          \
                     "sts %2, %A0   \n\t"                                                          \
                     : "=&r"(count)                                                                \
                     : "r"(add), "n"(_SFR_MEM_ADDR(timer)));                                       \
    } while (0)

} // namespace

void set_idle_levels(const SlotPlan& plan) {
    slot.portb_idle = plan.port_idle;
    PORTB = slot.portb_idle;
    const bool high = (plan.flags & wire::kSyncSeparateFieldPositive) == 0;
    if (((PORTE & kFieldPin) != 0) == high && (DDRE & kFieldPin) != 0) {
        return;
    }
    // Latch of the field sync unit to its idle level: a forced match, while the pin is an input
    // with the pull-up at that level.
    DDRE &= static_cast<uint8_t>(~kFieldPin);
    if (high) {
        PORTE |= kFieldPin;
    } else {
        PORTE &= static_cast<uint8_t>(~kFieldPin);
    }
    const uint8_t window = TCCR3A & 0x30;
    TCCR3A = static_cast<uint8_t>(window | (high ? 0xC0 : 0x80));
    TCCR3C = 1 << FOC3A;
    TCCR3A = window;
    DDRE |= kFieldPin;
}

void start_slots(SlotPlan* plan) {
    sequencer.begin(plan);
    slot.next_low = 0;
    slot.next_high = 0;
    slot.longest = 0;
    slot.line_compare = plan->line_compare;
    slot.tccr1a = slot.tccr1a_line = 1 << WGM11;

    // Latches of the sync pins to their idle level (active low: high) by a forced match, which
    // works only outside PWM modes, before the pins become outputs.
    TCCR1B = 0;
    TCCR1A = 0xCC;
    TCCR1C = (1 << FOC1A) | (1 << FOC1C);
    set_idle_levels(*plan);
    DDRB |= kCompositePin | kLinePin;

    TCCR1A = 1 << WGM11;
    TCCR1B = (1 << WGM13) | (1 << WGM12);
    OCR1A = sequencer.compare();
    OCR1B = kNoCompare;
    OCR1C = plan->line_compare;
    // The first period only counts up to tick 0: it ends, and slot 0 begins, kLeadTicks after the
    // start.
    constexpr uint16_t kLeadTicks = 1000;
    ICR1 = kLeadTicks - 1;
    TCNT1 = 0;
    TCNT3 = static_cast<uint16_t>(2 - kLeadTicks);
    TCNT4 = static_cast<uint16_t>(4 - kLeadTicks);
    TCNT5 = static_cast<uint16_t>(6 - kLeadTicks);
    TIFR1 = 0xFF;
    TIMSK1 = 1 << TOIE1;
    asm volatile("sts %0, %4 \n\t"
                 "sts %1, %5 \n\t"
                 "sts %2, %5 \n\t"
                 "sts %3, %5 \n\t" ::"n"(_SFR_MEM_ADDR(TCCR1B)),
                 "n"(_SFR_MEM_ADDR(TCCR3B)), "n"(_SFR_MEM_ADDR(TCCR4B)), "n"(_SFR_MEM_ADDR(TCCR5B)),
                 "r"(static_cast<uint8_t>((1 << WGM13) | (1 << WGM12) | kRun)), "r"(kRun));
    uint16_t lag;
    YOKEDOCK_TIMER_LAG(TCNT3, lag);
    lag = static_cast<uint16_t>(lag + kLeadTicks);
    YOKEDOCK_SHIFT_TIMER(TCNT3, lag);
    YOKEDOCK_TIMER_LAG(TCNT4, lag);
    lag = static_cast<uint16_t>(lag + kLeadTicks);
    YOKEDOCK_SHIFT_TIMER(TCNT4, lag);
    YOKEDOCK_TIMER_LAG(TCNT5, lag);
    lag = static_cast<uint16_t>(lag + kLeadTicks);
    YOKEDOCK_SHIFT_TIMER(TCNT5, lag);
}

} // namespace firmware
} // namespace yokedock
