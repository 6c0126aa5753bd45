// SPDX-License-Identifier: MIT
// Stamps both edges of ICP4 and ICP5 with free-running Timer4 and Timer5. Per edge three bytes: '4'
// or '5' with bit 7 set for a rising edge, then the stamp, low byte first. Sends 'r' when ready.
#include "tests/avr/chip_images/serial.hpp"
#include <avr/interrupt.h>

namespace {
volatile uint8_t ring[256];
volatile uint8_t head;
void push(uint8_t tag, uint16_t stamp) {
    ring[head] = tag;
    ring[static_cast<uint8_t>(head + 1)] = static_cast<uint8_t>(stamp);
    ring[static_cast<uint8_t>(head + 2)] = static_cast<uint8_t>(stamp >> 8);
    head = static_cast<uint8_t>(head + 3);
}
} // namespace

ISR(TIMER4_CAPT_vect) {
    const uint16_t stamp = ICR4;
    const bool rising = (TCCR4B & _BV(ICES4)) != 0;
    TCCR4B ^= _BV(ICES4);
    TIFR4 = _BV(ICF4); // the edge select may have set it
    push(rising ? '4' | 0x80 : '4', stamp);
}

ISR(TIMER5_CAPT_vect) {
    const uint16_t stamp = ICR5;
    const bool rising = (TCCR5B & _BV(ICES5)) != 0;
    TCCR5B ^= _BV(ICES5);
    TIFR5 = _BV(ICF5);
    push(rising ? '5' | 0x80 : '5', stamp);
}

int main() {
    serial_begin();
    TCCR4B = _BV(ICES4) | _BV(CS40);
    TCCR5B = _BV(ICES5) | _BV(CS50);
    TIMSK4 = _BV(ICIE4);
    TIMSK5 = _BV(ICIE5);
    sei();
    serial_put('r');
    uint8_t tail = 0;
    for (;;) {
        while (tail != head) {
            serial_put(ring[tail++]);
        }
    }
}
