// SPDX-License-Identifier: MIT
// Consistent overhead byte stuffing: a frame body without zero bytes, so that zero can end a frame.
// Source: S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), 1999.
#pragma once
#include <stddef.h>
#include <stdint.h>

namespace yokedock {
namespace wire {

/// Worst-case size of cobs_encode's output for `size` bytes in, without the ending zero.
constexpr size_t cobs_bound(size_t size) { return size + size / 254 + 1; }

/// Encodes size bytes from in to out (at least cobs_bound(size) bytes, not overlapping in).
/// Returns the number of bytes written; no byte written is zero; the ending zero is not added.
constexpr size_t cobs_encode(const uint8_t* in, size_t size, uint8_t* out) {
    size_t code_at = 0;
    size_t at = 1;
    uint8_t code = 1;
    for (size_t i = 0; i < size; ++i) {
        if (in[i] != 0) {
            out[at++] = in[i];
            ++code;
        }
        const bool more = i + 1 < size;
        if (in[i] == 0 || (code == 0xFF && more)) {
            out[code_at] = code;
            code_at = at++;
            code = 1;
        }
    }
    out[code_at] = code;
    return at;
}

struct CobsDecoded {
    bool ok;
    size_t size; ///< decoded bytes, valid when ok
};

/// Decodes size bytes (without the ending zero) in place. Not ok when a code byte is zero or points
/// past the end, or the input is empty; the buffer's content is then undefined, never its bounds.
constexpr CobsDecoded cobs_decode_in_place(uint8_t* data, size_t size) {
    size_t read = 0;
    size_t written = 0;
    if (size == 0) {
        return {false, 0};
    }
    while (read < size) {
        const uint8_t code = data[read++];
        if (code == 0 || read + code - 1u > size) {
            return {false, 0};
        }
        for (uint8_t k = 1; k < code; ++k) {
            if (data[read] == 0) {
                return {false, 0};
            }
            data[written++] = data[read++];
        }
        if (code != 0xFF && read < size) {
            data[written++] = 0;
        }
    }
    return {true, written};
}

} // namespace wire
} // namespace yokedock
