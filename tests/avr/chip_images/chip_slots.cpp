// SPDX-License-Identifier: MIT
// Timer1 in mode 14, its period rewritten in every overflow from a fractional accumulator: THIS
// period's TOP and the NEXT period's pulse width. Period 508 + 64/143 cycles; widths 40 and 76 in
// turn. The low pulse is on OC1A.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

namespace {
constexpr uint16_t kWhole = 508;
constexpr uint16_t kNumerator = 64;
constexpr uint16_t kDenominator = 143;
uint16_t accumulator;
bool wide;
} // namespace

ISR(TIMER1_OVF_vect) {
    accumulator += kNumerator;
    uint16_t period = kWhole;
    if (accumulator >= kDenominator) {
        accumulator -= kDenominator;
        ++period;
    }
    ICR1 = period - 1;
    wide = !wide;
    OCR1A = (wide ? 76 : 40) - 1;
}

int main() {
    set_sleep_mode(SLEEP_MODE_IDLE);
    DDRB = _BV(PB5);
    TCCR1A = _BV(COM1A1) | _BV(COM1A0) | _BV(WGM11);
    TCCR1B = _BV(WGM13) | _BV(WGM12);
    ICR1 = kWhole - 1;
    OCR1A = 40 - 1;
    TIMSK1 = _BV(TOIE1);
    TCNT1 = kWhole - 1; // the first period begins with an overflow
    sei();
    TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS10);
    for (;;) {
        sleep_mode();
    }
}
