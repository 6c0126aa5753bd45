// SPDX-License-Identifier: MIT
// The slot interrupt: timer 1 overflow, once per half line or line. All sync edges come from compare units whose
// values were written one slot ahead, so the handler's delay never moves an edge; it only has to end in time.
//
// Timer 1, mode 14 (ATmega2560 data sheet, "16-bit Timer/Counter", fast PWM, TOP = ICR1):
//   OCR1x written in slot k is taken over at the start of slot k + 1; ICR1 is immediate and must be written
//   before the count passes it. The output goes to sync level when the count becomes 0 and back one tick after
//   it equals OCR1A: a pulse of OCR1A + 1 ticks. A compare value above TOP never matches: a solid slot.
//   The compare flag that triggers the converter rises one tick after the match: at OCR1B + 1.
#pragma GCC optimize("O2")
#include "firmware/ports/avr/slot_handler.hpp"
#include "firmware/ports/avr/line_edges.hpp"
#include "firmware/ports/avr/video.hpp"

namespace yokedock {
namespace firmware {

Pool pool;
SlotSequencer sequencer;
Sampler sampler;
SlotState slot;

namespace {

constexpr uint8_t kMode14A = 1 << WGM11;
/// Cycles of the handler after its last look at the count: registers restored and return.
constexpr uint8_t kEpilogueCycles = 50;

/// The next slot begins a field: new settings and output on or off.
inline void enter_field() {
    const SlotPlan& plan = sequencer.plan();
    const uint8_t flags = plan.flags;
    OCR1C = plan.line_compare;
    uint8_t connect = kMode14A;
    if (sequencer.output() != 0) {
        connect |= (flags & wire::kSyncCompositePositive) != 0 ? 0x80 : 0xC0;
        connect |= (flags & wire::kSyncSeparateLinePositive) != 0 ? 0x08 : 0x0C;
    }
    slot.tccr1a_line = connect;
    slot.portb_idle = idle_portb(flags);
    slot.field_due = 1;
}

/// Arms the exact edge of the separate field sync at the next slot's start.
inline void arm_field_sync(uint8_t vertical) {
    slot.vertical = vertical;
    if (sequencer.output() == 0) {
        yokedock_tccr3a = 0;
    } else {
        const bool high = ((sequencer.plan().flags & wire::kSyncSeparateFieldPositive) != 0) ==
                          (vertical != 0);
        OCR3A = static_cast<uint16_t>(static_cast<uint16_t>(slot.next_start) - 1);
        yokedock_tccr3a = high ? 0xC0 : 0x80;
    }
    // Window bits as they stand; the handler of the window edge and this one never overlap.
    TCCR3A = static_cast<uint8_t>((TCCR3A & 0x30) | yokedock_tccr3a);
}

inline void run_slot() {
    ICR1 = static_cast<uint16_t>(sequencer.length() - 1);
    const uint32_t start = slot.next_start;
    const uint32_t next = start + sequencer.length();
    slot.start = start;
    slot.next_start = next;
    if (slot.field_due != 0) {
        slot.field_due = 0;
        slot.line_compare = sequencer.plan().line_compare;
        if (slot.capturing != 0) {
            pool.push_field_start(start, sequencer.field_accumulator());
        }
    }

    sequencer.advance();
    OCR1A = sequencer.compare();
    if (sequencer.starts_field() != 0) {
        enter_field();
    }
    const uint8_t vertical = sequencer.shape() & kShapeVertical;
    if (vertical != slot.vertical) {
        arm_field_sync(vertical);
    }
    // A line sync on the separate pin only where a line starts. The pin may be switched only after this slot's
    // pulse, which the compare C handler waits for.
    const uint8_t connect = sequencer.starts_line() != 0
                                ? slot.tccr1a_line
                                : static_cast<uint8_t>(slot.tccr1a_line & ~0x0C);
    if (connect != slot.tccr1a) {
        slot.tccr1a_next = connect;
        TIMSK1 = (1 << TOIE1) | (1 << OCIE1C);
    }
    latch_line_edge(); // an edge that waits must not be overrun by the next one

    if (sampler.enabled() != 0) {
        const uint16_t place = sampler.plan(next, sequencer.length(), sequencer.starts_line());
        OCR1B = static_cast<uint16_t>(place - 1); // 0: 0xFFFF, no trigger
        uint8_t channel;
        if (place != 0 && sampler.sole_channel(channel)) {
            ADMUX = static_cast<uint8_t>((1 << REFS0) | channel);
        }
    } else {
        OCR1B = kNoCompare;
    }
    if (video.pattern != 0) {
        plan_picture(next);
    }

    const uint16_t cycles = static_cast<uint16_t>(TCNT1 + kEpilogueCycles);
    if (cycles > slot.longest) {
        slot.longest = cycles;
    }
    if ((TIFR1 & (1 << TOV1)) != 0) {
        slot.longest = 0xFFFF; // the next slot has begun already
    }
}

} // namespace
} // namespace firmware
} // namespace yokedock

/// The rest of the slot handler; entered by a jump from the vector below.
extern "C" void __vector_slot_rest() __attribute__((signal, used, externally_visible));
extern "C" void __vector_slot_rest() { yokedock::firmware::run_slot(); }

/// Slots with a picture first put the pattern timer in step and arm the window, before anything else can take
/// time: both must be done when the window opens, 147 ticks or more after the line start. From reading TCNT1 to
/// writing TCNT2 are 12 cycles, whichever way the branch goes; picture_add contains them.
ISR(TIMER1_OVF_vect, ISR_NAKED) {
    asm volatile("sbis %[flags], %[bit]   \n\t"
                 "jmp  __vector_slot_rest \n\t"
                 "push r24                \n\t"
                 "in   r24, __SREG__      \n\t"
                 "push r24                \n\t"
                 "push r25                \n\t"
                 "lds  r24, %[tcnt1]      \n\t"
                 "cpi  r24, 130           \n\t" // too late for this line: leave it black
                 "brsh 2f                 \n\t"
                 "lds  r25, yokedock_picture_add    \n\t"
                 "add  r24, r25           \n\t"
                 "lds  r25, yokedock_picture_period \n\t"
                 "cp   r24, r25           \n\t"
                 "brcs 1f                 \n\t"
                 "sub  r24, r25           \n\t"
                 "1: sts %[tcnt2], r24    \n\t"
                 "lds  r24, yokedock_picture_tccr2a \n\t"
                 "sts  %[tccr2a], r24     \n\t"
                 "lds  r24, yokedock_picture_open+1 \n\t"
                 "sts  %[ocr3b]+1, r24    \n\t"
                 "lds  r24, yokedock_picture_open   \n\t"
                 "sts  %[ocr3b], r24      \n\t"
                 "lds  r24, yokedock_tccr3a         \n\t"
                 "ori  r24, 0x30          \n\t" // window pin: set on match
                 "sts  %[tccr3a], r24     \n\t"
                 "2: pop r25              \n\t"
                 "pop  r24                \n\t"
                 "out  __SREG__, r24      \n\t"
                 "pop  r24                \n\t"
                 "jmp  __vector_slot_rest \n\t" ::[flags] "I"(_SFR_IO_ADDR(GPIOR0)),
                 [bit] "I"(yokedock::firmware::kPictureDueBit), [tcnt1] "n"(_SFR_MEM_ADDR(TCNT1)),
                 [tcnt2] "n"(_SFR_MEM_ADDR(TCNT2)), [tccr2a] "n"(_SFR_MEM_ADDR(TCCR2A)),
                 [ocr3b] "n"(_SFR_MEM_ADDR(OCR3B)), [tccr3a] "n"(_SFR_MEM_ADDR(TCCR3A)));
}

/// After the line sync width of a slot: the pins as the next slot needs them. The flag may be an old one, from
/// the slot before: then the pulse still lasts, and the real match comes.
ISR(TIMER1_COMPC_vect) {
    using yokedock::firmware::slot;
    if (TCNT1 > slot.line_compare) {
        TIMSK1 = 1 << TOIE1;
        PORTB = slot.portb_idle;
        slot.tccr1a = slot.tccr1a_next;
        TCCR1A = slot.tccr1a;
    }
}
