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

/// The frame at hand is sent: the other buffer's, or silence.
extern "C" __attribute__((used, externally_visible, noinline)) void yokedock_next_frame() {
    using namespace yokedock::firmware;
    frame_size[send_index] = 0;
    const uint8_t other = send_index ^ 1;
    if (frame_size[other] != 0) {
        begin_frame(other);
    } else {
        UCSR0B = kReceiving;
    }
}

/// By hand: it runs for every byte sent.
ISR(USART0_UDRE_vect, ISR_NAKED) {
    using namespace yokedock::firmware;
    asm volatile("push r24            \n\t"
                 "in   r24, __SREG__  \n\t"
                 "push r24            \n\t"
                 "push r30            \n\t"
                 "push r31            \n\t"
                 "lds  r30, %[at]     \n\t"
                 "lds  r31, %[at]+1   \n\t"
                 "ld   r24, Z+        \n\t"
                 "sts  %[udr], r24    \n\t"
                 "sts  %[at], r30     \n\t"
                 "sts  %[at]+1, r31   \n\t"
                 "lds  r24, %[left]   \n\t"
                 "dec  r24            \n\t"
                 "sts  %[left], r24   \n\t"
                 "breq 2f             \n\t"
                 "1: pop r31          \n\t"
                 "pop  r30            \n\t"
                 "pop  r24            \n\t"
                 "out  __SREG__, r24  \n\t"
                 "pop  r24            \n\t"
                 "reti                \n\t"
                 "2: push r0          \n\t"
                 "push r1             \n\t"
                 "push r18            \n\t"
                 "push r19            \n\t"
                 "push r20            \n\t"
                 "push r21            \n\t"
                 "push r22            \n\t"
                 "push r23            \n\t"
                 "push r25            \n\t"
                 "push r26            \n\t"
                 "push r27            \n\t"
                 "clr  r1             \n\t"
                 "call yokedock_next_frame \n\t"
                 "pop  r27            \n\t"
                 "pop  r26            \n\t"
                 "pop  r25            \n\t"
                 "pop  r23            \n\t"
                 "pop  r22            \n\t"
                 "pop  r21            \n\t"
                 "pop  r20            \n\t"
                 "pop  r19            \n\t"
                 "pop  r18            \n\t"
                 "pop  r1             \n\t"
                 "pop  r0             \n\t"
                 "rjmp 1b             \n\t" ::[at] "i"(&send_at), [left] "i"(&send_left),
                 [udr] "n"(_SFR_MEM_ADDR(UDR0)));
}
