// SPDX-License-Identifier: MIT
#pragma once
#include "firmware/ports/avr/serial.hpp"
#include <stdint.h>

namespace yokedock {
namespace firmware {

/// The byte work of FrameWriter. x * 32 holds both x << 5 and x >> 3: that makes the CRC step
/// short. tests/avr compares it with wire::crc16_update.
struct FastCrc {
    __attribute__((always_inline)) static inline uint16_t update(uint16_t crc, uint8_t byte) {
        uint8_t scratch;
        const uint8_t thirty_two = 32;
        asm("eor  %B0, %2     \n\t" // x = high ^ byte
            "mov  %1, %B0     \n\t"
            "swap %1          \n\t"
            "andi %1, 0x0F    \n\t"
            "eor  %B0, %1     \n\t" // x ^= x >> 4
            "mov  %1, %B0     \n\t"
            "swap %1          \n\t"
            "andi %1, 0xF0    \n\t"
            "eor  %A0, %1     \n\t" // low ^ x << 4
            "mul  %B0, %3     \n\t"
            "eor  %A0, r1     \n\t" // ^ x >> 3: the new high byte
            "eor  r0, %B0     \n\t" // x ^ x << 5: the new low byte
            "mov  %B0, %A0    \n\t"
            "mov  %A0, r0     \n\t"
            "clr  r1          \n\t"
            : "+r"(crc), "=&d"(scratch)
            : "r"(byte), "r"(thirty_two));
        return crc;
    }

    /// PlainCrc::run(), about 30 cycles a byte; and whenever the line takes a byte meanwhile, it
    /// gets one.
    __attribute__((noinline)) static void run(const uint8_t* bytes, uint8_t count, uint8_t*& at_out,
                                              uint8_t*& code_out, uint16_t& crc_out) {
        uint16_t crc = crc_out;
        uint8_t* at = at_out;
        uint8_t* code_at = code_out;
        uint8_t byte;
        uint8_t scratch;
        const uint8_t thirty_two = 32;
        asm volatile(
            "1: ld %[byte], %a[in]+ \n\t"
            "eor  %B[crc], %[byte] \n\t"
            "mov  %[t], %B[crc]    \n\t"
            "swap %[t]             \n\t"
            "andi %[t], 0x0F       \n\t"
            "eor  %B[crc], %[t]    \n\t"
            "mov  %[t], %B[crc]    \n\t"
            "swap %[t]             \n\t"
            "andi %[t], 0xF0       \n\t"
            "eor  %A[crc], %[t]    \n\t"
            "mul  %B[crc], %[k]    \n\t"
            "eor  %A[crc], r1      \n\t"
            "eor  r0, %B[crc]      \n\t"
            "mov  %B[crc], %A[crc] \n\t"
            "mov  %A[crc], r0      \n\t"
            "tst  %[byte]          \n\t"
            "breq 3f               \n\t"
            "2: st %a[at]+, %[byte] \n\t"
            "lds  %[t], %[status]  \n\t"
            "sbrc %[t], 5          \n\t" // UDRE0
            "rjmp 5f               \n\t"
            "6: dec %[count]       \n\t"
            "brne 1b               \n\t"
            "rjmp 4f               \n\t"
            "5: lds %[byte], %[left] \n\t"
            "tst  %[byte]          \n\t"
            "breq 6b               \n\t"
            "movw r0, %A[at]       \n\t"
            "cli                   \n\t" // handlers send too: look again
            "lds  %[t], %[status]  \n\t"
            "lds  %[byte], %[left] \n\t"
            "subi %[byte], 1       \n\t"
            "brcs 7f               \n\t"
            "sbrs %[t], 5          \n\t"
            "rjmp 7f               \n\t"
            "lds  %A[at], %[send]  \n\t"
            "lds  %B[at], %[send]+1 \n\t"
            "ld   %[t], %a[at]+    \n\t"
            "sts  %[udr], %[t]     \n\t"
            "sts  %[send], %A[at]  \n\t"
            "sts  %[send]+1, %B[at] \n\t"
            "sts  %[left], %[byte] \n\t"
            "7: sei                \n\t"
            "movw %A[at], r0       \n\t"
            "rjmp 6b               \n\t"
            "3: movw r0, %A[at]    \n\t" // a zero: its place becomes the next code byte
            "sub  r0, %A[code]     \n\t"
            "push %A[at]           \n\t"
            "push %B[at]           \n\t"
            "movw %A[at], %A[code] \n\t"
            "st   %a[at], r0       \n\t"
            "pop  %B[at]           \n\t"
            "pop  %A[at]           \n\t"
            "movw %A[code], %A[at] \n\t"
            "rjmp 2b               \n\t"
            "4: clr r1             \n\t"
            : [crc] "+r"(crc), [at] "+z"(at), [code] "+r"(code_at), [in] "+x"(bytes),
              [count] "+r"(count), [byte] "=&d"(byte), [t] "=&d"(scratch)
            : [k] "r"(thirty_two), [status] "n"(_SFR_MEM_ADDR(UCSR0A)),
              [udr] "n"(_SFR_MEM_ADDR(UDR0)), [send] "i"(&sending.at), [left] "i"(&sending.left)
            : "memory");
        crc_out = crc;
        at_out = at;
        code_out = code_at;
    }
};

} // namespace firmware
} // namespace yokedock
