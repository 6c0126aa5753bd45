// SPDX-License-Identifier: MIT
// UART 0, 1 Mbaud 8N1.
//
//   receive:  ring of 256 bytes; the interrupt moves `head`, the main loop `tail`; both wrap by themselves
//   transmit: two frame buffers; the main loop fills one while the interrupt sends the other
#pragma once
#include <stdint.h>

namespace yokedock {
namespace firmware {

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
