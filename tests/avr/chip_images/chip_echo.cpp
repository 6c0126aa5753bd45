// SPDX-License-Identifier: MIT
// Sends back every byte, interrupt driven both ways, asleep in between.
#include "tests/avr/chip_images/serial.hpp"
#include <avr/interrupt.h>
#include <avr/sleep.h>

namespace {
volatile uint8_t ring[256];
volatile uint8_t head;
volatile uint8_t tail;
} // namespace

ISR(USART0_RX_vect) {
    const uint8_t byte = UDR0;
    ring[head] = byte;
    head = static_cast<uint8_t>(head + 1);
    UCSR0B |= _BV(UDRIE0);
}

ISR(USART0_UDRE_vect) {
    if (tail == head) {
        UCSR0B &= static_cast<uint8_t>(~_BV(UDRIE0));
        return;
    }
    UDR0 = ring[tail];
    tail = static_cast<uint8_t>(tail + 1);
}

int main() {
    serial_begin();
    UCSR0B |= _BV(RXCIE0);
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    for (;;) {
        sleep_mode();
    }
}
