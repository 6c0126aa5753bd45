// SPDX-License-Identifier: MIT
#pragma GCC optimize("O2")
#include "firmware/ports/avr/serial.hpp"
#include "firmware/ports/avr/state.hpp"
#include "shared/wire/frame.hpp"

namespace yokedock {
namespace firmware {

namespace {
uint8_t ring[256];
volatile uint8_t ring_head;
volatile uint8_t ring_tail;
volatile uint16_t lost;

uint8_t frames[2][wire::kMaxEncodedBytes];
volatile uint8_t frame_size[2]; ///< 0: the buffer is free
uint8_t fill_index;             ///< main loop: buffer to fill next
uint8_t send_index;             ///< interrupt: buffer being sent
const uint8_t* volatile send_at;
volatile uint8_t send_left;

constexpr uint8_t kReceiving = (1 << RXCIE0) | (1 << RXEN0) | (1 << TXEN0);

void begin_frame(uint8_t index) {
    send_index = index;
    send_at = frames[index];
    send_left = frame_size[index];
}
} // namespace

void start_serial() {
    UCSR0A = 1 << U2X0; // before the divider: it is counted with this bit
    UBRR0 = F_CPU / (8 * wire::kBaudRate) - 1;
    UCSR0C = (1 << UCSZ01) | (1 << UCSZ00);
    UCSR0B = kReceiving;
}

bool receive_waiting() { return ring_head != ring_tail; }

bool receive_byte(uint8_t& byte) {
    const uint8_t tail = ring_tail;
    if (ring_head == tail) {
        return false;
    }
    byte = ring[tail];
    ring_tail = static_cast<uint8_t>(tail + 1);
    return true;
}

uint8_t* transmit_buffer() { return frame_size[fill_index] == 0 ? frames[fill_index] : nullptr; }

void transmit(uint8_t size) {
    InterruptLock lock;
    frame_size[fill_index] = size;
    if (send_left == 0) {
        begin_frame(fill_index);
        UCSR0B = kReceiving | (1 << UDRIE0);
    }
    fill_index ^= 1;
}

uint16_t bytes_lost() {
    InterruptLock lock;
    return lost;
}

} // namespace firmware
} // namespace yokedock

ISR(USART0_RX_vect) {
    using namespace yokedock::firmware;
    const uint8_t overrun = UCSR0A & (1 << DOR0);
    const uint8_t byte = UDR0;
    const uint8_t head = ring_head;
    const uint8_t next = static_cast<uint8_t>(head + 1);
    if (overrun != 0 || next == ring_tail) {
        ++lost;
    }
    if (next != ring_tail) {
        ring[head] = byte;
        ring_head = next;
    }
}

ISR(USART0_UDRE_vect) {
    using namespace yokedock::firmware;
    const uint8_t* at = send_at;
    UDR0 = *at;
    send_at = at + 1;
    const uint8_t left = static_cast<uint8_t>(send_left - 1);
    send_left = left;
    if (left == 0) {
        frame_size[send_index] = 0;
        const uint8_t other = send_index ^ 1;
        if (frame_size[other] != 0) {
            begin_frame(other);
        } else {
            UCSR0B = kReceiving;
        }
    }
}
