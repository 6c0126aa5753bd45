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
uint8_t frame_size[2]; ///< 0: the buffer is free
uint8_t fill_index;    ///< buffer to fill next
uint8_t send_index;    ///< buffer to send next, or being sent
uint8_t active;        ///< that one is on its way

void begin_frame() {
    active = 1;
    InterruptLock lock;
    sending.at = frames[send_index];
    sending.left = frame_size[send_index];
}
} // namespace

Sending sending;

bool keep_sending() {
    if (sending.left != 0) {
        return true;
    }
    if (active != 0) { // it is sent
        active = 0;
        frame_size[send_index] = 0;
        send_index ^= 1; // frames go in the order they were filled
    }
    if (frame_size[send_index] == 0) {
        return false;
    }
    begin_frame();
    return true;
}

void start_serial() {
    UCSR0A = 1 << U2X0; // before the divider: it is counted with this bit
    UBRR0 = F_CPU / (8 * wire::kBaudRate) - 1;
    UCSR0C = (1 << UCSZ01) | (1 << UCSZ00);
    UCSR0B = (1 << RXCIE0) | (1 << RXEN0) | (1 << TXEN0);
}

bool receive_waiting() {
    return ring_head != ring_tail;
}

bool receive_byte(uint8_t& byte) {
    const uint8_t tail = ring_tail;
    if (ring_head == tail) {
        return false;
    }
    byte = ring[tail];
    ring_tail = static_cast<uint8_t>(tail + 1);
    return true;
}

uint8_t* transmit_buffer() {
    keep_sending();
    return frame_size[fill_index] == 0 ? frames[fill_index] : nullptr;
}

void transmit(uint8_t size) {
    frame_size[fill_index] = size;
    fill_index ^= 1;
    keep_sending();
}

uint16_t bytes_lost() {
    InterruptLock lock;
    return lost;
}

} // namespace firmware
} // namespace yokedock

extern "C" __attribute__((used, externally_visible, noinline)) void yokedock_byte_lost() {
    using namespace yokedock::firmware;
    if (lost != 0xFFFF) {
        lost = static_cast<uint16_t>(lost + 1);
    }
}

#define YOKEDOCK_SAVE_ALL                                                                          \
    "push r0 \n\tpush r1 \n\tpush r18 \n\tpush r19 \n\tpush r20 \n\tpush r21 \n\tpush r22 \n\t"    \
    "push r23 \n\tpush r26 \n\tpush r27 \n\tclr r1 \n\t"
#define YOKEDOCK_RESTORE_ALL                                                                       \
    "pop r27 \n\tpop r26 \n\tpop r23 \n\tpop r22 \n\tpop r21 \n\tpop r20 \n\tpop r19 \n\tpop r18 " \
    "\n\t"                                                                                         \
    "pop r1 \n\tpop r0 \n\t"

/// By hand: it runs for every byte received.
ISR(USART0_RX_vect, ISR_NAKED) {
    using namespace yokedock::firmware;
    asm volatile("push r24            \n\t"
                 "in   r24, __SREG__  \n\t"
                 "push r24            \n\t"
                 "push r25            \n\t"
                 "push r30            \n\t"
                 "push r31            \n\t"
                 "lds  r25, %[status] \n\t"
                 "lds  r24, %[udr]    \n\t"
                 "sbrc r25, 3         \n\t" // DOR0: one before it was lost
                 "rjmp 3f             \n\t"
                 "1: lds r30, %[head] \n\t"
                 "mov  r25, r30       \n\t"
                 "inc  r25            \n\t"
                 "lds  r31, %[tail]   \n\t"
                 "cp   r25, r31       \n\t"
                 "breq 4f             \n\t"
                 "ldi  r31, 0         \n\t"
                 "subi r30, lo8(-(%[ring])) \n\t"
                 "sbci r31, hi8(-(%[ring])) \n\t"
                 "st   Z, r24         \n\t"
                 "sts  %[head], r25   \n\t"
                 "2: sei              \n\t" // the byte is safe: the slot handler must not wait
                 "pop  r31            \n\t"
                 "pop  r30            \n\t"
                 "pop  r25            \n\t"
                 "pop  r24            \n\t"
                 "out  __SREG__, r24  \n\t"
                 "pop  r24            \n\t"
                 "reti                \n\t"
                 "3: push r24         \n\t" YOKEDOCK_SAVE_ALL
                 "call yokedock_byte_lost \n\t" YOKEDOCK_RESTORE_ALL "pop  r24            \n\t"
                 "rjmp 1b             \n\t"
                 "4:                  \n\t" YOKEDOCK_SAVE_ALL
                 "call yokedock_byte_lost \n\t" YOKEDOCK_RESTORE_ALL
                 "rjmp 2b             \n\t" ::[status] "n"(_SFR_MEM_ADDR(UCSR0A)),
                 [udr] "n"(_SFR_MEM_ADDR(UDR0)), [head] "i"(&ring_head), [tail] "i"(&ring_tail),
                 [ring] "i"(ring));
}
