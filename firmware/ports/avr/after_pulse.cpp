// SPDX-License-Identifier: MIT
// Timer 1 compare C, after the line sync width of a slot, when the slot handler has asked for it:
// where a field begins, and where the pins could not be switched yet because the pulse still
// lasted. Pins first: there may be little of the slot left.
#pragma GCC optimize("O2")
#include "firmware/ports/avr/line_edges.hpp"
#include "firmware/ports/avr/slot_handler.hpp"
#include "firmware/ports/avr/video.hpp"

namespace yokedock {
namespace firmware {

namespace {

/// The line sync pin for the described slot: a line sync only where a line starts.
inline void connect_pins() {
    uint8_t connect = slot.tccr1a_line;
    if (sequencer.starts_line() == 0) {
        connect = static_cast<uint8_t>(connect & ~0x0C);
    }
    if (connect != slot.tccr1a) {
        PORTB = slot.portb_idle;
        slot.tccr1a = connect;
        TCCR1A = connect;
    }
}

/// Arms the exact edge of the separate field sync at the described slot's start.
inline void arm_field_sync(uint8_t vertical) {
    slot.vertical = vertical;
    OCR3A = static_cast<uint16_t>(slot.next_low - 1);
    const uint8_t connect = slot.field_connect[vertical != 0 ? 1 : 0];
    yokedock_tccr3a = connect;
    // Window bits as they stand; the handler of the window edge and this one never overlap.
    TCCR3A = static_cast<uint8_t>((TCCR3A & 0x30) | connect);
}

/// New settings, or output on or off, from the described slot on.
inline void enter_settings() {
    const SlotPlan& plan = sequencer.plan();
    const bool on = sequencer.requested_output() != 0;
    slot.tccr1a_line = on ? plan.port_connect : 1 << WGM11;
    slot.portb_idle = plan.port_idle;
    connect_pins();
    const bool positive = (plan.flags & wire::kSyncSeparateFieldPositive) != 0;
    slot.field_connect[0] = !on ? 0 : positive ? 0x80 : 0xC0;
    slot.field_connect[1] = !on ? 0 : positive ? 0xC0 : 0x80;
    arm_field_sync(sequencer.shape() & kShapeVertical);
    OCR1C = plan.line_compare;
    slot.line_compare = plan.line_compare; // next looked at in the described slot
    slot.longest = 0;
}

} // namespace

} // namespace firmware
} // namespace yokedock

extern "C" __attribute__((used, externally_visible, noinline)) void yokedock_after_pulse() {
    using namespace yokedock::firmware;
    if (TCNT1 <= slot.line_compare) {
        return; // the flag was an old one, from the slot before: the real match comes
    }
    const uint8_t begun = sequencer.path.begun;
    if (begun > SlotSequencer::kBegun) {
        enter_settings();
    } else {
        connect_pins();
    }
    if (begun != 0) {
        sequencer.note_field();
        sequencer.path.note.time = (static_cast<uint32_t>(slot.next_high) << 16) | slot.next_low;
        start_picture_field();
    }
    peek_line_edge();
    TIMSK1 = 1 << TOIE1; // the slot handler asks for the next time
}

ISR(TIMER1_COMPC_vect, ISR_NAKED) {
    asm volatile("push r24 \n\tin r24, __SREG__ \n\tpush r24 \n\tpush r25 \n\t"
                 "push r18 \n\tpush r19 \n\tpush r26 \n\tpush r27 \n\tpush r30 \n\tpush r31 "
                 "\n\t" YOKEDOCK_SAVE "call yokedock_after_pulse \n\t" YOKEDOCK_RESTORE
                 "pop r31 \n\tpop r30 \n\tpop r27 \n\tpop r26 \n\tpop r19 \n\tpop r18 \n\t"
                 "pop r25 \n\tpop r24 \n\tout __SREG__, r24 \n\tpop r24 \n\treti \n\t" ::);
}
