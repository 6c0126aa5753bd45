// SPDX-License-Identifier: MIT
#pragma once
#include <stdint.h>

namespace yokedock {
namespace firmware {

/// wire::crc16_update in 16 cycles: x * 32 holds both x << 5 and x >> 3. tests/avr compares the two.
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
};

} // namespace firmware
} // namespace yokedock
