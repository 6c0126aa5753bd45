// SPDX-License-Identifier: MIT
// The slot interrupt: timer 1 overflow, once per half line or line. All sync edges come from
// compare units whose values were written one slot ahead, so the handler's delay never moves an
// edge; it only has to end in time.
//
// Timer 1, mode 14 (ATmega2560 data sheet, "16-bit Timer/Counter", fast PWM, TOP = ICR1):
//   OCR1x written in slot k is taken over at the start of slot k + 1; ICR1 is immediate and must be
//   written before the count passes it. The output goes to sync level when the count becomes 0 and
//   back one tick after it equals OCR1A: a pulse of OCR1A + 1 ticks. A compare value above TOP
//   never matches: a solid slot. The compare flag that triggers the converter rises one tick after
//   the match: at OCR1B + 1.
#pragma GCC optimize("O2")
#include "firmware/ports/avr/slot_handler.hpp"
#include "firmware/ports/avr/line_edges.hpp"
#include "firmware/ports/avr/video.hpp"
#include <stddef.h>

namespace yokedock {
namespace firmware {

Pool pool;
SlotSequencer sequencer;
Sampler sampler;
Guard guard;
SlotState slot;

extern "C" __attribute__((used, externally_visible, noinline)) void yokedock_enter_plan() {
    sequencer.enter_plan();
}

} // namespace firmware
} // namespace yokedock

/// A picture is due in this line: puts the pattern timer in step and arms the window, before
/// anything else can take time: both must be done when the window opens, 147 ticks or more after
/// the line start. From reading TCNT1 to writing TCNT2 are 12 cycles, whichever way the branch
/// goes; picture_add contains them. r24, r25 are free.
#define YOKEDOCK_PICTURE_FIRST                                                                     \
    "lds  r24, %[tcnt1]      \n\t"                                                                 \
    "cpi  r24, 130           \n\t" /* too late for this line: leave it black */                    \
    "brsh 19f                \n\t"                                                                 \
    "lds  r25, yokedock_picture_add    \n\t"                                                       \
    "add  r24, r25           \n\t"                                                                 \
    "lds  r25, yokedock_picture_period \n\t"                                                       \
    "cp   r24, r25           \n\t"                                                                 \
    "brcs 18f                \n\t"                                                                 \
    "sub  r24, r25           \n\t"                                                                 \
    "18: sts %[tcnt2], r24   \n\t"                                                                 \
    "lds  r24, yokedock_picture_tccr2a \n\t"                                                       \
    "sts  %[tccr2a], r24     \n\t"                                                                 \
    "lds  r24, yokedock_picture_open+1 \n\t"                                                       \
    "sts  %[ocr3b]+1, r24    \n\t"                                                                 \
    "lds  r24, yokedock_picture_open   \n\t"                                                       \
    "sts  %[ocr3b], r24      \n\t"                                                                 \
    "lds  r24, yokedock_tccr3a         \n\t"                                                       \
    "ori  r24, 0x30          \n\t" /* window pin: set on match */                                  \
    "sts  %[tccr3a], r24     \n\t"                                                                 \
    "ldi  r24, 4             \n\t" /* OCF3B, OCIE3B: from now on the opening edge interrupts */    \
    "out  %[tifr3], r24      \n\t"                                                                 \
    "sts  %[timsk3], r24     \n\t"                                                                 \
    "19:                     \n\t"

/// The slot handler. By hand, because it runs 15000 times a second, and a compiler saves twice the
/// registers: ICR1 of the slot that has begun; then SlotSequencer::advance(), Sampler::plan() and
/// the picture for the next.
///   X  low half of the described slot's start tick     Z  its run, then the turn of the schedule
///   r18, r19  its length
ISR(TIMER1_OVF_vect, ISR_NAKED) {
    using namespace yokedock::firmware;
    asm volatile("push r24                \n\t"
                 "in   r24, __SREG__      \n\t"
                 "push r24                \n\t"
                 "push r25                \n\t"
                 "sbis %[flags], %[bit]   \n\t"
                 "rjmp 20f                \n\t" //
                 YOKEDOCK_PICTURE_FIRST         //
                 "20:                     \n\t"
                 "push r30                \n\t"
                 "push r31                \n\t"
                 "push r26                \n\t"
                 "push r27                \n\t"
                 "push r18                \n\t"
                 "push r19                \n\t"
                 // ICR1 = length - 1: the slot that has begun ends there.
                 "lds  r30, %[length]     \n\t"
                 "lds  r31, %[length]+1   \n\t"
                 "movw r24, r30           \n\t"
                 "sbiw r24, 1             \n\t"
                 "sts  %[icr1]+1, r25     \n\t"
                 "sts  %[icr1], r24       \n\t" ::[flags] "I"(_SFR_IO_ADDR(GPIOR0)),
                 [bit] "I"(kPictureDueBit), [tcnt1] "n"(_SFR_MEM_ADDR(TCNT1)),
                 [tcnt2] "n"(_SFR_MEM_ADDR(TCNT2)), [tccr2a] "n"(_SFR_MEM_ADDR(TCCR2A)),
                 [ocr3b] "n"(_SFR_MEM_ADDR(OCR3B)), [tccr3a] "n"(_SFR_MEM_ADDR(TCCR3A)),
                 [tifr3] "I"(_SFR_IO_ADDR(TIFR3)), [timsk3] "n"(_SFR_MEM_ADDR(TIMSK3)),
                 [icr1] "n"(_SFR_MEM_ADDR(ICR1)), [length] "i"(&sequencer.path.length));
    asm volatile( // next += length
        "lds  r26, %[next]       \n\t"
        "lds  r27, %[next]+1     \n\t"
        "add  r26, r30           \n\t"
        "adc  r27, r31           \n\t"
        "sts  %[next], r26       \n\t"
        "sts  %[next]+1, r27     \n\t"
        "brcc 30f                \n\t"
        "lds  r24, %[high]       \n\t"
        "lds  r25, %[high]+1     \n\t"
        "adiw r24, 1             \n\t"
        "sts  %[high], r24       \n\t"
        "sts  %[high]+1, r25     \n\t"
        "30: lds r30, %[run]     \n\t"
        "lds  r31, %[run]+1      \n\t"
        "ldd  r24, Z+%[shape]    \n\t"
        "set                     \n\t" // T: the described slot starts a line
        "sbrs r24, 0             \n\t"
        "rjmp 33f                \n\t"
        "31: lds r24, %[left]    \n\t"
        "dec  r24                \n\t"
        "sts  %[left], r24       \n\t"
        "breq 36f                \n\t"
        "rjmp 41f                \n\t"
        // The described slot begins the next run.
        "36: ldd r24, Z+%[succ]  \n\t"
        "ldd  r25, Z+%[succ]+1   \n\t"
        "sts  %[run], r24        \n\t"
        "sts  %[run]+1, r25      \n\t"
        "movw r30, r24           \n\t"
        "ldd  r24, Z+%[compare]  \n\t"
        "ldd  r25, Z+%[compare]+1 \n\t"
        "sts  %[ocr1a]+1, r25    \n\t"
        "sts  %[ocr1a], r24      \n\t"
        "ldd  r24, Z+%[slots]    \n\t"
        "sts  %[left], r24       \n\t"
        "sbi  %[flags], %[after] \n\t"
        "ldd  r25, Z+%[shape]    \n\t"
        "sbrc r25, 2             \n\t"
        "rjmp 35f                \n\t"
        "32: lds r24, %[vertical] \n\t"
        "andi r25, 2             \n\t"
        "cpse r24, r25           \n\t"
        "rjmp 37f                \n\t"
        "rjmp 41f                \n\t"
        // Half lines start lines by turns; their pins are looked at one by one.
        "33: lds r24, %[starts]  \n\t"
        "ldi  r25, 1             \n\t"
        "eor  r24, r25           \n\t"
        "sts  %[starts], r24     \n\t"
        "bst  r24, 0             \n\t"
        "sbi  %[flags], %[after] \n\t"
        "rjmp 31b                \n\t"
        "35: lds r24, %[change]  \n\t" // a field: yokedock_after_pulse() takes note of it
        "ori  r24, 1             \n\t"
        "sts  %[begun], r24      \n\t"
        "ldi  r31, 0             \n\t"
        "sts  %[change], r31     \n\t"
        "lds  r31, %[run]+1      \n\t"
        "sbrs r24, 1             \n\t"
        "rjmp 32b                \n\t"  //
        YOKEDOCK_SAVE                   //
        "call yokedock_enter_plan \n\t" //
        YOKEDOCK_RESTORE                //
        "set                     \n\t"
        "lds  r30, %[run]        \n\t"
        "lds  r31, %[run]+1      \n\t"
        "lds  r26, %[next]       \n\t"
        "lds  r27, %[next]+1     \n\t"
        "ldd  r25, Z+%[shape]    \n\t"
        "rjmp 32b                \n\t" ::[next] "i"(&slot.next_low),
        [high] "i"(&slot.next_high), [run] "i"(&sequencer.path.run),
        [shape] "I"(offsetof(Run, shape)), [succ] "I"(offsetof(Run, next)),
        [compare] "I"(offsetof(Run, compare)), [slots] "I"(offsetof(Run, slots)),
        [left] "i"(&sequencer.path.slots_left), [ocr1a] "n"(_SFR_MEM_ADDR(OCR1A)),
        [flags] "I"(_SFR_IO_ADDR(GPIOR0)), [after] "I"(kAfterPulseBit),
        [vertical] "i"(&slot.vertical), [starts] "i"(&sequencer.path.starts_line),
        [change] "i"(&sequencer.path.change), [begun] "i"(&sequencer.path.begun));
    asm volatile(
        // The vertical sync group begins or ends: arm_field_sync().
        "37: sts %[vertical], r25 \n\t"
        "sbiw r26, 1             \n\t"
        "sts  %[ocr3a]+1, r27    \n\t"
        "sts  %[ocr3a], r26      \n\t"
        "lds  r24, %[connect]    \n\t"
        "tst  r25                \n\t"
        "breq 38f                \n\t"
        "lds  r24, %[connect]+1  \n\t"
        "38: sts yokedock_tccr3a, r24 \n\t"
        "lds  r25, %[tccr3a]     \n\t"
        "andi r25, 0x30          \n\t"
        "or   r24, r25           \n\t"
        "sts  %[tccr3a], r24     \n\t"
        // fraction += step; a carry makes the slot one tick longer
        "41: lds r18, %[frac]    \n\t"
        "lds  r19, %[frac]+1     \n\t"
        "lds  r24, %[frac]+2     \n\t"
        "lds  r25, %[frac]+3     \n\t"
        "ldd  r26, Z+%[step]     \n\t"
        "add  r18, r26           \n\t"
        "ldd  r26, Z+%[step]+1   \n\t"
        "adc  r19, r26           \n\t"
        "ldd  r26, Z+%[step]+2   \n\t"
        "adc  r24, r26           \n\t"
        "ldd  r26, Z+%[step]+3   \n\t"
        "adc  r25, r26           \n\t"
        "ldd  r26, Z+%[ticks]    \n\t"
        "ldd  r27, Z+%[ticks]+1  \n\t"
        "brcc 42f                \n\t"
        "adiw r26, 1             \n\t"
        "lds  r30, %[den]        \n\t"
        "sub  r18, r30           \n\t"
        "lds  r30, %[den]+1      \n\t"
        "sbc  r19, r30           \n\t"
        "lds  r30, %[den]+2      \n\t"
        "sbc  r24, r30           \n\t"
        "lds  r30, %[den]+3      \n\t"
        "sbc  r25, r30           \n\t"
        "42: sts %[frac], r18    \n\t"
        "sts  %[frac]+1, r19     \n\t"
        "sts  %[frac]+2, r24     \n\t"
        "sts  %[frac]+3, r25     \n\t"
        "sts  %[length], r26     \n\t"
        "sts  %[length]+1, r27   \n\t"
        "movw r18, r26           \n\t"
        "lds  r26, %[next]       \n\t"
        "lds  r27, %[next]+1     \n\t" ::[frac] "i"(&sequencer.path.fraction),
        [vertical] "i"(&slot.vertical), [ocr3a] "n"(_SFR_MEM_ADDR(OCR3A)),
        [connect] "i"(slot.field_connect), [tccr3a] "n"(_SFR_MEM_ADDR(TCCR3A)),
        [step] "I"(offsetof(Run, step)), [ticks] "I"(offsetof(Run, ticks)),
        [den] "i"(&sequencer.path.denominator), [length] "i"(&sequencer.path.length),
        [next] "i"(&slot.next_low));
    asm volatile( // A waiting line edge is moved, when both edges are stamped: see LineLatch.
        "sbis %[tifr4], 5        \n\t"
        "rjmp 50f                \n\t"
        "lds  r24, %[both]       \n\t"
        "lds  r25, %[full]       \n\t"
        "com  r25                \n\t" // full is 0 or 0xFF
        "and  r24, r25           \n\t"
        "breq 50f                \n\t"
        "lds  r24, %[icr4]       \n\t"
        "sts  %[stamp], r24      \n\t"
        "lds  r24, %[icr4]+1     \n\t"
        "sts  %[stamp]+1, r24    \n\t"
        "lds  r24, %[tccr4b]     \n\t"
        "sts  %[control], r24    \n\t"
        "ldi  r25, 0x40          \n\t"
        "eor  r24, r25           \n\t"
        "sts  %[tccr4b], r24     \n\t"
        "ldi  r24, 0x20          \n\t"
        "out  %[tifr4], r24      \n\t"
        "ldi  r24, 0xFF          \n\t"
        "sts  %[full], r24       \n\t"
        "50:                     \n\t" ::[tifr4] "I"(_SFR_IO_ADDR(TIFR4)),
        [icr4] "n"(_SFR_MEM_ADDR(ICR4)), [tccr4b] "n"(_SFR_MEM_ADDR(TCCR4B)),
        [both] "i"(&line_latch.both), [full] "i"(&line_latch.full), [stamp] "i"(&line_latch.stamp),
        [control] "i"(&line_latch.tccr4b));
    asm volatile( // Sampler::plan() for a slot that starts a line.
        "lds  r24, %[enabled]    \n\t"
        "tst  r24                \n\t"
        "brne 58f                \n\t"
        "rjmp 70f                \n\t"
        "58: lds r24, %[planned] \n\t"
        "lds  r25, %[prepared]   \n\t"
        "cp   r24, r25           \n\t"
        "brne 56f                \n\t"
        "rjmp 61f                \n\t"
        "56:                     \n\t"
        "mov  r30, r24           \n\t"
        "andi r30, 0x18       \n\t"
        "ldi  r31, 0             \n\t"
        "subi r30, lo8(-(%[turn]))\n\t"
        "sbci r31, hi8(-(%[turn]))\n\t"
        "brtc 62f                \n\t"
        "ldd  r25, Z+4           \n\t" // skip
        "subi r25, 1             \n\t"
        "brcc 60f                \n\t"
        "ld   r24, Z             \n\t" // place
        "ldd  r25, Z+1           \n\t"
        "57: cp r24, r18         \n\t"
        "cpc  r25, r19           \n\t"
        "brsh 64f                \n\t"
        "movw r18, r26           \n\t"
        "add  r18, r24           \n\t"
        "adc  r19, r25           \n\t"
        "std  Z+2, r18           \n\t" // the trigger's time
        "std  Z+3, r19           \n\t"
        "sbiw r24, 1             \n\t"
        "sts  %[ocr1b]+1, r25    \n\t"
        "sts  %[ocr1b], r24      \n\t"
        "lds  r24, %[planned]    \n\t"
        "lds  r25, %[taken]      \n\t"
        "cpse r24, r25           \n\t"
        "rjmp 59f                \n\t"
        "ldd  r25, Z+5           \n\t" // no other on the way: its channel now
        "ori  r25, %[refs]       \n\t"
        "sts  %[admux], r25      \n\t"
        "59: subi r24, -%[turnsize] \n\t"
        "sts  %[planned], r24    \n\t"
        "rjmp 70f                \n\t"
        "62: lds r24, %[waiting] \n\t" // a line's second half: its place, if it is there
        "ldi  r25, 0             \n\t"
        "sts  %[waiting], r25    \n\t"
        "lds  r25, %[waiting]+1  \n\t"
        "push r26                \n\t"
        "ldi  r26, 0             \n\t"
        "sts  %[waiting]+1, r26  \n\t"
        "pop  r26                \n\t"
        "adiw r24, 0             \n\t"
        "brne 57b                \n\t"
        "rjmp 61f                \n\t"
        "64: sub r24, r18        \n\t"
        "sbc  r25, r19           \n\t"
        "sts  %[waiting], r24    \n\t"
        "sts  %[waiting]+1, r25  \n\t"
        "rjmp 61f                \n\t"
        "60: std Z+4, r25        \n\t"
        "61: ldi r24, 0xFF       \n\t"
        "sts  %[ocr1b]+1, r24    \n\t"
        "sts  %[ocr1b], r24      \n\t"
        "70:                     \n\t" ::[enabled] "i"(&sampler.path.enabled),
        [planned] "i"(&sampler.path.planned), [prepared] "i"(&sampler.path.prepared),
        [taken] "i"(&sampler.path.taken), [turn] "i"(sampler.path.turn),
        [turnsize] "n"(Sampler::kTurn), [waiting] "i"(&sampler.path.waiting),
        [ocr1b] "n"(_SFR_MEM_ADDR(OCR1B)), [admux] "n"(_SFR_MEM_ADDR(ADMUX)),
        [refs] "M"(1 << REFS0));
    asm volatile( // plan_picture() for a slot that starts a line.
        "lds  r24, %[pattern]    \n\t"
        "tst  r24                \n\t"
        "brne 71f                \n\t"
        "rjmp 88f                \n\t"
        "71:                     \n\t"
        "cbi  %[flags], %[bit]   \n\t"
        "brtc 88f                \n\t"
        "lds  r24, %[left]       \n\t"
        "dec  r24                \n\t"
        "sts  %[left], r24       \n\t"
        "brne 80f                \n\t"
        "lds  r24, %[row]        \n\t" // a row ends: the other kind begins, or nothing below the
                                       // last
        "lds  r25, %[rows]       \n\t"
        "cp   r24, r25           \n\t"
        "ldi  r25, 0             \n\t"
        "brsh 79f                \n\t"
        "ldi  r30, lo8(%[kind])  \n\t"
        "ldi  r31, hi8(%[kind])  \n\t"
        "sbrc r24, 0             \n\t"
        "adiw r30, 3             \n\t"
        "inc  r24                \n\t"
        "sts  %[row], r24        \n\t"
        "ld   r24, Z             \n\t"
        "sts  %[left], r24       \n\t"
        "ldd  r24, Z+2           \n\t"
        "sts  yokedock_picture_tccr2a, r24 \n\t"
        "ldd  r25, Z+1           \n\t"
        "79: sts %[due], r25     \n\t"
        "80: lds r24, %[due]     \n\t"
        "tst  r24                \n\t"
        "breq 88f                \n\t"
        "lds  r24, %[open]       \n\t"
        "lds  r25, %[open]+1     \n\t"
        "add  r24, r26           \n\t"
        "adc  r25, r27           \n\t"
        "sts  yokedock_picture_open, r24   \n\t"
        "sts  yokedock_picture_open+1, r25 \n\t"
        "sbi  %[flags], %[bit]   \n\t"
        // Half lines: the line sync pin as the next slot needs it, if this slot's pulse is over, as
        // it is by now. Else, and for new settings, the compare C handler.
        "88: sbis %[flags], %[after] \n\t"
        "rjmp 90f                \n\t"
        "cbi  %[flags], %[after] \n\t"
        "lds  r24, %[begun]      \n\t"
        "tst  r24                \n\t"
        "brne 89f                \n\t"
        "lds  r24, %[tcnt1]      \n\t"
        "lds  r25, %[tcnt1]+1    \n\t"
        "lds  r18, %[pulse]      \n\t"
        "lds  r19, %[pulse]+1    \n\t"
        "cp   r18, r24           \n\t"
        "cpc  r19, r25           \n\t"
        "brsh 89f                \n\t"
        "lds  r24, %[line]       \n\t"
        "brts 87f                \n\t"
        "andi r24, 0xF3          \n\t"
        "87: sts %[now], r24     \n\t"
        "sts  %[tccr1a], r24     \n\t"
        "rjmp 90f                \n\t"
        "89: ldi r24, %[both]    \n\t"
        "sts  %[timsk1], r24     \n\t"
        // How long all this took.
        "90: lds r24, %[tcnt1]   \n\t"
        "lds  r25, %[tcnt1]+1    \n\t"
        "lds  r18, %[longest]    \n\t"
        "lds  r19, %[longest]+1  \n\t"
        "cp   r18, r24           \n\t"
        "cpc  r19, r25           \n\t"
        "brcs 92f                \n\t"
        "91: pop r19             \n\t"
        "pop  r18                \n\t"
        "pop  r27                \n\t"
        "pop  r26                \n\t"
        "pop  r31                \n\t"
        "pop  r30                \n\t"
        "pop  r25                \n\t"
        "pop  r24                \n\t"
        "out  __SREG__, r24      \n\t"
        "pop  r24                \n\t"
        "reti                    \n\t"
        "92: sts %[longest], r24 \n\t"
        "sts  %[longest]+1, r25  \n\t"
        "rjmp 91b                \n\t" ::[pattern] "i"(&video.pattern),
        [flags] "I"(_SFR_IO_ADDR(GPIOR0)), [bit] "I"(kPictureDueBit), [left] "i"(&video.left),
        [row] "i"(&video.row), [rows] "i"(&video.rows), [kind] "i"(video.kind),
        [due] "i"(&video.due), [open] "i"(&video.open), [tcnt1] "n"(_SFR_MEM_ADDR(TCNT1)),
        [longest] "i"(&slot.longest), [after] "I"(kAfterPulseBit),
        [begun] "i"(&sequencer.path.begun), [pulse] "i"(&slot.line_compare),
        [line] "i"(&slot.tccr1a_line), [now] "i"(&slot.tccr1a), [tccr1a] "n"(_SFR_MEM_ADDR(TCCR1A)),
        [timsk1] "n"(_SFR_MEM_ADDR(TIMSK1)), [both] "M"((1 << TOIE1) | (1 << OCIE1C)));
}
