// SPDX-License-Identifier: MIT
// UART 0, 1 Mbaud 8N1. Main loop only.
//
//   receive:  ring of 256 bytes; the interrupt moves `head`, the main loop `tail`; both wrap by themselves
//   transmit: two frame buffers; while one is filled the other is sent, byte by byte, by whoever has time and calls
//             pump(). No interrupt: measuring comes first, and the line takes what time is left.
#pragma once
#include <avr/io.h>
#include <stdint.h>

namespace yokedock {
namespace firmware {

struct Sending {
    const uint8_t* at;
    uint8_t left; ///< bytes of the frame being sent; 0: none
};
extern Sending sending;

/// The frame at hand is sent: goes on with the other buffer, if it is full.
void finish_frame();

/// Sends a byte if the line takes one. To be called every 300 cycles or so while sending.
inline void pump() {
    if ((UCSR0A & (1 << UDRE0)) != 0 && sending.left != 0) {
        UDR0 = *sending.at++;
        if (--sending.left == 0) {
            finish_frame();
        }
    }
}

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
