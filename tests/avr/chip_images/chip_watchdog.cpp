// SPDX-License-Identifier: MIT
// Tells MCUSR, drives PA1 high and runs a 1000 cycle PWM on OC1A; 'p' is answered with 'p', 'h'
// hangs until the watchdog (15 ms) resets the chip.
#include "tests/avr/chip_images/serial.hpp"
#include <avr/wdt.h>

int main() {
    const uint8_t cause = MCUSR;
    MCUSR = 0;
    wdt_enable(WDTO_15MS);
    serial_begin();
    serial_put(cause);
    DDRA = _BV(PA1);
    PORTA = _BV(PA1);
    DDRB = _BV(PB5);
    TCCR1A = _BV(COM1A1) | _BV(WGM11);
    TCCR1B = _BV(WGM13) | _BV(WGM12);
    ICR1 = 999;
    OCR1A = 249;
    TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS10);
    for (;;) {
        wdt_reset();
        if ((UCSR0A & _BV(RXC0)) == 0) {
            continue;
        }
        const uint8_t command = UDR0;
        if (command == 'h') {
            for (;;) {
            }
        }
        serial_put(command);
    }
}
