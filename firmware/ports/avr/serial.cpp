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

extern "C" __attribute__((used, externally_visible, noinline)) void yokedock_byte_lost() {
    using namespace yokedock::firmware;
    if (lost != 0xFFFF) {
        lost = static_cast<uint16_t>(lost + 1);
    }
}

#define YOKEDOCK_SAVE_ALL                                                                              \
    "push r0 \n\tpush r1 \n\tpush r18 \n\tpush r19 \n\tpush r20 \n\tpush r21 \n\tpush r22 \n\t"              \
    "push r23 \n\tpush r26 \n\tpush r27 \n\tclr r1 \n\t"
#define YOKEDOCK_RESTORE_ALL                                                                           \
    "pop r27 \n\tpop r26 \n\tpop r23 \n\tpop r22 \n\tpop r21 \n\tpop r20 \n\tpop r19 \n\tpop r18 \n\t"     \
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
                 "2: pop r31          \n\t"
                 "pop  r30            \n\t"
                 "pop  r25            \n\t"
                 "pop  r24            \n\t"
                 "out  __SREG__, r24  \n\t"
                 "pop  r24            \n\t"
                 "reti                \n\t"
                 "3: push r24         \n\t" YOKEDOCK_SAVE_ALL
                 "call yokedock_byte_lost \n\t" YOKEDOCK_RESTORE_ALL
                 "pop  r24            \n\t"
                 "rjmp 1b             \n\t"
                 "4:                  \n\t" YOKEDOCK_SAVE_ALL
                 "call yokedock_byte_lost \n\t" YOKEDOCK_RESTORE_ALL
                 "rjmp 2b             \n\t" ::[status] "n"(_SFR_MEM_ADDR(UCSR0A)),
                 [udr] "n"(_SFR_MEM_ADDR(UDR0)), [head] "i"(&ring_head), [tail] "i"(&ring_tail),
                 [ring] "i"(ring));
}

/// The frame at hand is sent: the other buffer's, or silence.
extern "C" __attribute__((used, externally_visible, noinline)) void yokedock_next_frame() {
    using namespace yokedock::firmware;
    frame_size[send_index] = 0;
    const uint8_t other = send_index ^ 1;
    if (frame_size[other] != 0) {
        begin_frame(other);
        UCSR0B = kReceiving | (1 << UDRIE0);
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
                 "2: ldi r24, %[receiving] \n\t" // this interrupt is shut out, others need not wait
                 "sts  %[control], r24 \n\t"
                 "sei                 \n\t"
                 "push r0             \n\t"
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
                 [udr] "n"(_SFR_MEM_ADDR(UDR0)), [receiving] "n"(static_cast<int>(kReceiving)),
                 [control] "n"(_SFR_MEM_ADDR(UCSR0B)));
}
