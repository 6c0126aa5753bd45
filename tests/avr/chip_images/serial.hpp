// SPDX-License-Identifier: MIT
// 1 Mbaud 8N1 on USART0, polled: all that the chip test images need.
#pragma once
#include <avr/io.h>
#include <stdint.h>

inline void serial_begin() {
    UCSR0A = _BV(U2X0);
    UBRR0 = 1;
    UCSR0B = _BV(RXEN0) | _BV(TXEN0);
}

inline uint8_t serial_get() {
    while ((UCSR0A & _BV(RXC0)) == 0) {
    }
    return UDR0;
}

inline void serial_put(uint8_t byte) {
    while ((UCSR0A & _BV(UDRE0)) == 0) {
    }
    UDR0 = byte;
}
