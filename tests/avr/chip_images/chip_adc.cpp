// SPDX-License-Identifier: MIT
// Samples triggered by Timer1 compare B, one per period of 2500 cycles, channels 0 to 7 in turn.
// First byte received: ADC prescaler exponent. Each result goes up low byte first; PA0 toggles in
// the ADC interrupt.
#include "tests/avr/chip_images/serial.hpp"
#include <avr/interrupt.h>

namespace {
volatile uint8_t ring[256];
volatile uint8_t head;
uint8_t channel;
} // namespace

EMPTY_INTERRUPT(TIMER1_COMPB_vect) // clears OCF1B, so that the next match triggers again

ISR(ADC_vect) {
    PINA = _BV(PA0);
    const uint16_t code = ADC;
    channel = (channel + 1) & 7;
    ADMUX = _BV(REFS0) | channel;
    ring[head] = static_cast<uint8_t>(code);
    ring[static_cast<uint8_t>(head + 1)] = static_cast<uint8_t>(code >> 8);
    head = static_cast<uint8_t>(head + 2);
}

int main() {
    serial_begin();
    const uint8_t exponent = serial_get();
    DDRA = _BV(PA0);
    DDRB = _BV(PB6);
    ADMUX = _BV(REFS0);
    ADCSRB = _BV(ADTS2) | _BV(ADTS0);
    ADCSRA =
        static_cast<uint8_t>(_BV(ADEN) | _BV(ADSC) | exponent); // the long first conversion, apart
    while ((ADCSRA & _BV(ADSC)) != 0) {
    }
    ADCSRA = static_cast<uint8_t>(_BV(ADEN) | _BV(ADATE) | _BV(ADIF) | _BV(ADIE) | exponent);
    TCCR1A = _BV(COM1B1) | _BV(WGM11);
    TCCR1B = _BV(WGM13) | _BV(WGM12);
    ICR1 = 2499;
    OCR1B = 321;
    TIMSK1 = _BV(OCIE1B);
    TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS10);
    sei();
    uint8_t tail = 0;
    for (;;) {
        while (tail != head) {
            serial_put(ring[tail++]);
        }
    }
}
