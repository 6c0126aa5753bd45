// SPDX-License-Identifier: MIT
// UART 0, 1 Mbaud 8N1. Main loop only.
//
//   receive:  ring of 256 bytes; the interrupt moves `head`, the main loop `tail`; both wrap by
//   themselves transmit: two frame buffers; while one is filled the other is sent, byte by byte, by
//   whoever comes by: the main
//             loop, and the handlers of conversions and line edges at their ends. No interrupt of
//             its own: measuring comes first, and the line takes what time is left.
#pragma once
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

namespace yokedock {
namespace firmware {

/// The frame being sent. Touched with interrupts off.
struct Sending {
    const uint8_t* at;
    volatile uint8_t left; ///< bytes to send; 0: none
};
extern Sending sending;

/// Sends a byte if the line takes one: for the end of a handler in assembler, interrupts off.
/// Changes r24, r25, Z and flags. Operands: SEND_OPERANDS.
#define YOKEDOCK_PUMP                                                                              \
    "lds  r24, %[ucsr]      \n\t"                                                                  \
    "sbrs r24, 5            \n\t"                                                                  \
    "rjmp 95f               \n\t"                                                                  \
    "lds  r24, %[sendleft]  \n\t"                                                                  \
    "subi r24, 1            \n\t"                                                                  \
    "brcs 95f               \n\t"                                                                  \
    "lds  r30, %[sendat]    \n\t"                                                                  \
    "lds  r31, %[sendat]+1  \n\t"                                                                  \
    "ld   r25, Z+           \n\t"                                                                  \
    "sts  %[udr], r25       \n\t"                                                                  \
    "sts  %[sendat], r30    \n\t"                                                                  \
    "sts  %[sendat]+1, r31  \n\t"                                                                  \
    "sts  %[sendleft], r24  \n\t"                                                                  \
    "95:                    \n\t"
#define YOKEDOCK_PUMP_OPERANDS                                                                     \
    [ucsr] "n"(_SFR_MEM_ADDR(UCSR0A)), [udr] "n"(_SFR_MEM_ADDR(UDR0)), [sendat] "i"(&sending.at),  \
        [sendleft] "i"(&sending.left)

/// Sends a byte if the line takes one. To be called every 300 cycles or so while sending.
inline void pump() {
    if ((UCSR0A & (1 << UDRE0)) != 0 && sending.left != 0) {
        const uint8_t status = SREG;
        cli();
        if ((UCSR0A & (1 << UDRE0)) != 0 && sending.left != 0) { // nobody else came first
            UDR0 = *sending.at++;
            sending.left = static_cast<uint8_t>(sending.left - 1);
        }
        SREG = status;
    }
}

/// The frame at hand is sent: goes on with the other buffer, if it is full. True while there is
/// something to send.
bool keep_sending();

void start_serial();
bool receive_byte(uint8_t& byte);
bool receive_waiting();
/// Buffer of wire::kMaxEncodedBytes, or nullptr while both are on their way.
uint8_t* transmit_buffer();
/// Sends size bytes of the buffer got last.
void transmit(uint8_t size);
/// Bytes lost in reception so far.
uint16_t bytes_lost();

} // namespace firmware
} // namespace yokedock
