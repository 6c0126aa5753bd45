// SPDX-License-Identifier: MIT
#pragma once
#include <stddef.h>
#include <stdint.h>

namespace yokedock {
namespace wire {

constexpr uint16_t kCrcInit = 0xFFFF;

/// One byte into the CRC-16 with polynomial 0x1021, most significant bit first, no final inversion.
/// Start from kCrcInit; "123456789" gives 0x29B1 (DESIGN: wire contract). The form without a table:
/// a table costs 512 bytes that the device would have to fetch from flash. Callable from an interrupt.
constexpr uint16_t crc16_update(uint16_t crc, uint8_t byte) {
    uint8_t x = static_cast<uint8_t>((crc >> 8) ^ byte);
    x = static_cast<uint8_t>(x ^ (x >> 4));
    return static_cast<uint16_t>((crc << 8) ^ (static_cast<uint16_t>(x) << 12) ^
                                 (static_cast<uint16_t>(x) << 5) ^ x);
}

/// CRC-16 of a whole buffer, continued from crc.
constexpr uint16_t crc16(const uint8_t* data, size_t size, uint16_t crc = kCrcInit) {
    for (size_t i = 0; i < size; ++i) {
        crc = crc16_update(crc, data[i]);
    }
    return crc;
}

} // namespace wire
} // namespace yokedock
