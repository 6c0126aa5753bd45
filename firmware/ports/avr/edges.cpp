// SPDX-License-Identifier: MIT
// Retrace edges: input capture 4 (line) and 5 (field). The timers hold the low half of the tick, so
// a stamp needs only its high half, from the start of the present slot.
//
// Pipeline: on silicon the synchroniser and edge detector delay a capture by 2.5 to 3.5 cycles
// (data sheet, "External Clock Source", same circuit). The stamp is told as captured; the constant
// is taken off where the real front end's delay is known: calibration, first-hardware checklist.
//
// The handlers move the stamp and open interrupts again: the slot handler must not wait for the
// rest of them. The field's has only itself shut out; the line's may come again: see LineQueue.
#pragma GCC optimize("O2")
#include "firmware/ports/avr/line_edges.hpp"
#include "firmware/ports/avr/serial.hpp"

namespace yokedock {
namespace firmware {

LineLatch line_latch;
LineQueue line_queue;
EdgeCounter line_counter;
EdgeCounter field_counter;

namespace {

uint8_t line_counted; ///< TCCR4B's edge bit of the counted direction
uint8_t field_counted;
uint8_t field_both;
uint32_t field_last; ///< time of the last field edge

/// Tick of an edge whose low half this is. It was, so all of the low half's range is good for how
/// long it has waited since: 65535 ticks. At a high line rate, with everything else busy and the
/// serial line receiving without a pause, that has been 40000.
inline uint32_t lock_tick(uint16_t low) {
    const uint32_t now = tick_now();
    return now - static_cast<uint16_t>(static_cast<uint16_t>(now) - low);
}

YOKEDOCK_RARE void record_line_edge(uint16_t stamp, uint8_t control) {
    const bool wrapped = (TIFR4 & (1 << TOV4)) != 0;
    const uint32_t far =
        pool.push_line_edge(stamp, (control & (1 << ICES4)) != 0, wrapped, lock_tick);
    if (wrapped && stamp < 0x8000u) {
        TIFR4 =
            1 << TOV4; // else the edge came before the count passed 0: the next one has to see it
    }
    if (far != 0) {
        line_counter.note_gap(far);
    }
    if ((control & (1 << ICES4)) == line_counted) {
        line_counter.edge(stamp);
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
    line_queue.head = line_queue.tail = 0;
    GPIOR0 &= static_cast<uint8_t>(~(1 << kLinePeekBit));
    TIFR4 = 1 << ICF4;
    const uint32_t now = tick_from_low(TCNT4);
    pool.begin_line_edges(now);
    field_last = now;
    TIFR4 = 1 << TOV4;
    TIMSK4 = line_mode != 0 ? 1 << ICIE4 : 0;
    TCCR5B = control_for(field_mode);
    field_counted = TCCR5B & (1 << ICES5);
    field_both = field_mode == both ? 0xFF : 0;
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
        record_line_edge(line_latch.stamp, line_latch.tccr4b);
    }
}

} // namespace firmware
} // namespace yokedock

/// An edge that is not like the one before in everything.
extern "C" __attribute__((used, externally_visible, noinline)) void
yokedock_line_edge(uint16_t stamp, uint8_t control) {
    using namespace yokedock::firmware;
    record_line_edge(stamp, control);
}

/// The last edge before a lost one.
extern "C" __attribute__((used, externally_visible, noinline)) void
yokedock_last_line_edge(uint16_t stamp, uint8_t control) {
    using namespace yokedock::firmware;
    yokedock_line_edge(stamp, control & static_cast<uint8_t>(~kLineEdgeLost));
    pool.break_line_edges();
    line_counter.forget_last();
}

extern "C" __attribute__((used, externally_visible, noinline)) void
yokedock_count_line_edge(uint16_t stamp) {
    yokedock::firmware::line_counter.edge(stamp);
}

/// Keeps stamp and direction, looks for the other edge when both are wanted, and opens interrupts:
/// the slot handler must not wait for the rest. By hand, for it runs once or twice per line: the
/// common case of BlockPool::push_line_edge() and EdgeCounter::edge().
///   r24, r25 stamp, r30 then r18 TCCR4B     16: records an edge     5: it is recorded
///   20: another is being recorded: to the queue     27: takes the next from there
ISR(TIMER4_CAPT_vect, ISR_NAKED) {
    using namespace yokedock::firmware;
    asm volatile(
        "push r24             \n\t"
        "push r25             \n\t"
        "push r30             \n\t"
        "in   r30, __SREG__   \n\t"
        "push r30             \n\t"
        "push r31             \n\t"
        "lds  r24, %[icr]     \n\t"
        "lds  r25, %[icr]+1   \n\t"
        "lds  r30, %[tccr]    \n\t"
        "lds  r31, %[both]    \n\t"
        "andi r31, 0x40       \n\t"
        "breq 1f              \n\t"
        "eor  r31, r30        \n\t"
        "sts  %[tccr], r31    \n\t"
        "ldi  r31, 0x20       \n\t" // the change of direction may have set the flag
        "out  %[tifr], r31    \n\t"
        "lds  r31, %[full]    \n\t"
        "sbrc r31, 0          \n\t"
        "rjmp 15f             \n\t"
        "1: sbic %[tifr], 5   \n\t" // again: before or after the register was read?
        "rjmp 34f             \n\t"
        "2: sbic %[flags], %[peek] \n\t"
        "rjmp 33f             \n\t"
        "3: sbic %[flags], %[busy] \n\t"
        "rjmp 20f             \n\t"
        "sbi  %[flags], %[busy] \n\t"
        "sei                  \n\t"
        "push r18             \n\t"
        "push r19             \n\t"
        "push r26             \n\t"
        "push r27             \n\t"
        "mov  r18, r30        \n\t"
        "16: sbic %[tifr], 0  \n\t" // TOV4
        "4: rjmp 10f          \n\t"
        "lds  r30, %[last]    \n\t"
        "lds  r31, %[last]+1  \n\t"
        "movw r26, r24        \n\t"
        "sub  r26, r30        \n\t"
        "sbc  r27, r31        \n\t"
        "brmi 4b              \n\t"
        "lds  r19, %[left]    \n\t"
        "tst  r19             \n\t"
        "breq 6f              \n\t"
        "sts  %[last], r24    \n\t"
        "sts  %[last]+1, r25  \n\t"
        "dec  r19             \n\t"
        "sts  %[left], r19    \n\t"
        "bst  r18, 6          \n\t"
        "bld  r27, 7          \n\t"
        "lds  r30, %[at]      \n\t"
        "lds  r31, %[at]+1    \n\t"
        "st   Z+, r26         \n\t"
        "st   Z+, r27         \n\t"
        "sts  %[at], r30      \n\t"
        "sts  %[at]+1, r31    \n\t"
        "rjmp 8f              \n\t"
        "6: lds r31, %[free]  \n\t" // no block open and none free: the word is lost, at little cost
        "lds  r30, %[block]+1 \n\t"
        "or   r31, r30        \n\t"
        "brne 4b              \n\t"
        "sts  %[last], r24    \n\t"
        "sts  %[last]+1, r25  \n\t"
        "lds  r30, %[dropped]   \n\t"
        "lds  r31, %[dropped]+1 \n\t"
        "adiw r30, 1          \n\t"
        "sts  %[dropped], r30 \n\t"
        "sts  %[dropped]+1, r31 \n\t"
        "brne 7f              \n\t"
        "lds  r30, %[dropped]+2 \n\t"
        "lds  r31, %[dropped]+3 \n\t"
        "adiw r30, 1          \n\t"
        "sts  %[dropped]+2, r30 \n\t"
        "sts  %[dropped]+3, r31 \n\t"
        "7: ldi r31, 1        \n\t"
        "sts  %[gap], r31     \n\t"
        "rjmp 8f              \n\t"
        "9: rjmp 11f          \n\t"
        "8:                   \n\t" ::[icr] "n"(_SFR_MEM_ADDR(ICR4)),
        [tccr] "n"(_SFR_MEM_ADDR(TCCR4B)), [tifr] "I"(_SFR_IO_ADDR(TIFR4)),
        [flags] "I"(_SFR_IO_ADDR(GPIOR0)), [busy] "I"(kLineEdgeBit), [peek] "I"(kLinePeekBit),
        [both] "i"(&line_latch.both), [full] "i"(&line_latch.full), [last] "i"(&pool.path.line_low),
        [left] "i"(&pool.path.writer[1].left), [at] "i"(&pool.path.writer[1].at),
        [free] "i"(&pool.path.free_count), [block] "i"(&pool.path.writer[1].block),
        [dropped] "i"(&pool.path.writer[1].dropped), [gap] "i"(&pool.path.writer[1].gap));
    asm volatile(
        "lds  r19, %[counted] \n\t"
        "eor  r19, r18        \n\t"
        "sbrc r19, 6          \n\t"
        "rjmp 5f              \n\t"
        "lds  r26, %[last]    \n\t"
        "lds  r27, %[last]+1  \n\t"
        "movw r30, r24        \n\t"
        "sub  r30, r26        \n\t"
        "sbc  r31, r27        \n\t"
        "lds  r26, %[shortest]   \n\t"
        "lds  r27, %[shortest]+1 \n\t"
        "cp   r30, r26        \n\t"
        "cpc  r31, r27        \n\t"
        "brlo 9b              \n\t"
        "lds  r26, %[longest]   \n\t"
        "lds  r27, %[longest]+1 \n\t"
        "cp   r30, r26        \n\t"
        "cpc  r31, r27        \n\t"
        "brsh 9b              \n\t"
        "sts  %[last], r24    \n\t"
        "sts  %[last]+1, r25  \n\t"
        "lds  r30, %[edges]   \n\t"
        "lds  r31, %[edges]+1 \n\t"
        "adiw r30, 1          \n\t"
        "sts  %[edges], r30   \n\t"
        "sts  %[edges]+1, r31 \n\t"
        "brne 5f              \n\t"
        "lds  r30, %[edges]+2 \n\t"
        "lds  r31, %[edges]+3 \n\t"
        "adiw r30, 1          \n\t"
        "sts  %[edges]+2, r30 \n\t"
        "sts  %[edges]+3, r31 \n\t"
        "5: cli               \n\t" YOKEDOCK_PUMP
        "sei                  \n\t" // the slot handler must not wait for all of the rest
        "pop  r27             \n\t"
        "pop  r26             \n\t"
        "pop  r19             \n\t"
        "pop  r18             \n\t"
        "cli                  \n\t"
        "lds  r24, %[head]    \n\t"
        "lds  r25, %[tail]    \n\t"
        "cpse r24, r25        \n\t"
        "rjmp 27f             \n\t"
        "cbi  %[flags], %[busy] \n\t"
        "21: pop r31          \n\t"
        "pop  r30             \n\t"
        "out  __SREG__, r30   \n\t"
        "pop  r30             \n\t"
        "pop  r25             \n\t"
        "pop  r24             \n\t"
        "reti                 \n\t"
        "20: push r26         \n\t"
        "push r27             \n\t"
        "rcall 23f            \n\t"
        "22: sei              \n\t" // it is safe
        "pop  r27             \n\t"
        "pop  r26             \n\t"
        "rjmp 21b             \n\t"
        "33: cbi %[flags], %[peek] \n\t" // the edge seen a while ago, or has another come over it?
        "lds  r31, %[stamp]   \n\t"
        "cpse r31, r24        \n\t"
        "rjmp 15f             \n\t"
        "lds  r31, %[stamp]+1 \n\t"
        "cpse r31, r25        \n\t"
        "rjmp 15f             \n\t"
        "rjmp 3b              \n\t"
        "34: lds r31, %[icr]  \n\t" // before: this is the newer edge, and needs no second call
        "cpse r31, r24        \n\t"
        "rjmp 2b              \n\t"
        "lds  r31, %[icr]+1   \n\t"
        "cpse r31, r25        \n\t"
        "rjmp 2b              \n\t"
        "ldi  r31, 0x20       \n\t"
        "out  %[tifr], r31    \n\t"
        "rjmp 2b              \n\t"
        "15: push r26         \n\t" // the latched edge, which is older, goes first
        "push r27             \n\t"
        "push r24             \n\t"
        "push r25             \n\t"
        "push r30             \n\t"
        "lds  r24, %[stamp]   \n\t"
        "lds  r25, %[stamp]+1 \n\t"
        "lds  r30, %[control] \n\t"
        "rcall 23f            \n\t"
        "ldi  r31, 0          \n\t"
        "sts  %[full], r31    \n\t"
        "pop  r30             \n\t"
        "pop  r25             \n\t"
        "pop  r24             \n\t"
        "rcall 23f            \n\t"
        "sbic %[flags], %[busy] \n\t"
        "rjmp 22b             \n\t"
        "sbi  %[flags], %[busy] \n\t"
        "pop  r27             \n\t"
        "pop  r26             \n\t"
        "lds  r25, %[tail]    \n\t"
        "rjmp 27f             \n\t"
        "23: lds r26, %[head] \n\t"
        "mov  r31, r26        \n\t"
        "subi r31, -%[edgesize] \n\t"
        "andi r31, %[mask]    \n\t"
        "lds  r27, %[tail]    \n\t"
        "cp   r31, r27        \n\t"
        "breq 24f             \n\t"
        "sts  %[head], r31    \n\t"
        "ldi  r27, 0          \n\t"
        "subi r26, lo8(-(%[queue])) \n\t"
        "sbci r27, hi8(-(%[queue])) \n\t"
        "st   X+, r24         \n\t"
        "st   X+, r25         \n\t"
        "st   X, r30          \n\t"
        "ret                  \n\t"
        "24: subi r26, %[edgesize] \n\t" // full: the newest one in it is the last before a gap
        "andi r26, %[mask]    \n\t"
        "ldi  r27, 0          \n\t"
        "subi r26, lo8(-(%[queue]+2)) \n\t"
        "sbci r27, hi8(-(%[queue]+2)) \n\t"
        "ld   r31, X          \n\t"
        "ori  r31, %[lost]    \n\t"
        "st   X, r31          \n\t"
        "lds  r26, %[dropped]   \n\t"
        "lds  r27, %[dropped]+1 \n\t"
        "adiw r26, 1          \n\t"
        "sts  %[dropped], r26 \n\t"
        "sts  %[dropped]+1, r27 \n\t"
        "brne 28f             \n\t"
        "lds  r26, %[dropped]+2 \n\t"
        "lds  r27, %[dropped]+3 \n\t"
        "adiw r26, 1          \n\t"
        "sts  %[dropped]+2, r26 \n\t"
        "sts  %[dropped]+3, r27 \n\t"
        "28: ret              \n\t"
        "27: sei              \n\t" // r25: the queue's tail
        "push r18             \n\t"
        "push r19             \n\t"
        "push r26             \n\t"
        "push r27             \n\t"
        "mov  r26, r25        \n\t"
        "ldi  r27, 0          \n\t"
        "subi r26, lo8(-(%[queue])) \n\t"
        "sbci r27, hi8(-(%[queue])) \n\t"
        "mov  r31, r25        \n\t"
        "subi r31, -%[edgesize] \n\t"
        "andi r31, %[mask]    \n\t"
        "ld   r24, X+         \n\t"
        "ld   r25, X+         \n\t"
        "ld   r18, X          \n\t"
        "sts  %[tail], r31    \n\t"
        "sbrs r18, 7          \n\t" // kLineEdgeLost
        "rjmp 16b             \n\t"
        "ldi  r31, 2          \n\t"
        "rjmp 12f             \n\t"
        "10: ldi r31, 1       \n\t" // all of it
        "rjmp 12f             \n\t"
        "11: ldi r31, 0       \n\t" // the counting
        "12: push r0          \n\t"
        "push r1              \n\t"
        "push r20             \n\t"
        "push r21             \n\t"
        "push r22             \n\t"
        "push r23             \n\t"
        "clr  r1              \n\t"
        "mov  r22, r18        \n\t"
        "sbrc r31, 0          \n\t"
        "rjmp 13f             \n\t"
        "sbrc r31, 1          \n\t"
        "rjmp 19f             \n\t"
        "call yokedock_count_line_edge \n\t"
        "rjmp 14f             \n\t"
        "19: call yokedock_last_line_edge \n\t"
        "rjmp 14f             \n\t"
        "13: call yokedock_line_edge \n\t"
        "14: pop r23          \n\t"
        "pop  r22             \n\t"
        "pop  r21             \n\t"
        "pop  r20             \n\t"
        "pop  r1              \n\t"
        "pop  r0              \n\t"
        "rjmp 5b              \n\t" ::[counted] "i"(&line_counted),
        [last] "i"(&line_counter.path.last_low), [shortest] "i"(&line_counter.path.shortest),
        [longest] "i"(&line_counter.path.longest), [edges] "i"(&line_counter.path.edges),
        [head] "i"(&line_queue.head), [tail] "i"(&line_queue.tail), [queue] "i"(line_queue.edge),
        [mask] "n"(kLineQueueMask), [edgesize] "n"(sizeof(LineQueue::Edge)),
        [lost] "n"(kLineEdgeLost), [flags] "I"(_SFR_IO_ADDR(GPIOR0)), [busy] "I"(kLineEdgeBit),
        [peek] "I"(kLinePeekBit), [icr] "n"(_SFR_MEM_ADDR(ICR4)), [full] "i"(&line_latch.full),
        [stamp] "i"(&line_latch.stamp), [control] "i"(&line_latch.tccr4b),
        [tifr] "I"(_SFR_IO_ADDR(TIFR4)), [dropped] "i"(&pool.path.writer[1].dropped),
        YOKEDOCK_PUMP_OPERANDS);
}

extern "C" __attribute__((used, externally_visible, noinline)) void
yokedock_field_edge(uint16_t stamp, uint8_t control) {
    using namespace yokedock::firmware;
    const uint32_t time = lock_tick(stamp);
    pool.push_field_edge(time, (control & (1 << ICES5)) != 0);
    field_counter.note_gap(time - field_last);
    field_last = time;
    if ((control & (1 << ICES5)) == field_counted) {
        field_counter.edge(stamp);
    }
}

/// The same for the field input, which has time.
ISR(TIMER5_CAPT_vect, ISR_NAKED) {
    using namespace yokedock::firmware;
    asm volatile(
        "push r24             \n\t"
        "push r25             \n\t"
        "push r22             \n\t"
        "in   r22, __SREG__   \n\t"
        "push r22             \n\t"
        "push r23             \n\t"
        "lds  r24, %[icr]     \n\t"
        "lds  r25, %[icr]+1   \n\t"
        "lds  r22, %[tccr]    \n\t"
        "lds  r23, %[both]    \n\t"
        "andi r23, 0x40       \n\t"
        "breq 1f              \n\t"
        "eor  r23, r22        \n\t"
        "sts  %[tccr], r23    \n\t"
        "1: ldi r23, 0x20     \n\t"
        "out  %[tifr], r23    \n\t"
        "ldi r23, 0           \n\t"
        "sts  %[timsk], r23   \n\t"
        "sei                  \n\t"
        "push r0 \n\tpush r1 \n\tclr r1 \n\tpush r18 \n\tpush r19 \n\tpush r20 \n\tpush r21 \n\t"
        "push r26 \n\tpush r27 \n\tpush r30 \n\tpush r31 \n\t"
        "call yokedock_field_edge \n\t"
        "pop r31 \n\tpop r30 \n\tpop r27 \n\tpop r26 \n\t"
        "pop r21 \n\tpop r20 \n\tpop r19 \n\tpop r18 \n\tpop r1 \n\tpop r0 \n\t"
        "cli                  \n\t"
        "ldi  r24, 0x20       \n\t"
        "sts  %[timsk], r24   \n\t"
        "pop  r23             \n\t"
        "pop  r22             \n\t"
        "out  __SREG__, r22   \n\t"
        "pop  r22             \n\t"
        "pop  r25             \n\t"
        "pop  r24             \n\t"
        "reti                 \n\t" ::[icr] "n"(_SFR_MEM_ADDR(ICR5)),
        [tccr] "n"(_SFR_MEM_ADDR(TCCR5B)), [tifr] "I"(_SFR_IO_ADDR(TIFR5)),
        [timsk] "n"(_SFR_MEM_ADDR(TIMSK5)), [both] "i"(&field_both));
}
