// SPDX-License-Identifier: MIT
// Builds an encoded frame in one pass, straight into the transmit buffer: the same bytes as
// wire::encode_frame (tested), at the speed the line needs.
#pragma once
#include "shared/wire/frame.hpp"

namespace yokedock {
namespace firmware {

/// The byte work, for ports without a faster one.
struct PlainCrc {
    static uint16_t update(uint16_t crc, uint8_t byte) { return wire::crc16_update(crc, byte); }

    /// count bytes, at least 1: into the CRC, and stuffed to at.
    static void run(const uint8_t* bytes, uint8_t count, uint8_t*& at, uint8_t*& code_at,
                    uint16_t& crc) {
        for (; count != 0; --count) {
            const uint8_t byte = *bytes++;
            crc = update(crc, byte);
            *at = byte;
            if (byte == 0) { // the place of the zero becomes the next code byte
                *code_at = static_cast<uint8_t>(at - code_at);
                code_at = at;
            }
            ++at;
        }
    }
};

/// out needs wire::kMaxEncodedBytes; at most wire::kMaxPayloadBytes may be put.
template <class Crc = PlainCrc> class FrameWriter {
  public:
    FrameWriter(uint8_t* out, wire::MessageKind kind, uint8_t number)
        : begin_(out), code_at_(out), at_(out + 1) {
        put(static_cast<uint8_t>(kind));
        put(number);
    }

    void put(uint8_t byte) {
        crc_ = Crc::update(crc_, byte);
        stuff(byte);
    }

    void put(const uint8_t* bytes, uint8_t count) {
        if (count != 0) {
            Crc::run(bytes, count, at_, code_at_, crc_);
        }
    }

    /// Returns the bytes to send, ending zero included.
    uint8_t finish() {
        const uint16_t crc = crc_;
        stuff(static_cast<uint8_t>(crc));
        stuff(static_cast<uint8_t>(crc >> 8));
        *code_at_ = static_cast<uint8_t>(at_ - code_at_);
        *at_++ = 0;
        return static_cast<uint8_t>(at_ - begin_);
    }

  private:
    static_assert(wire::kMaxFrameBytes <= 253, "a run of 254 bytes without a zero cannot occur");
    static_assert(wire::kMaxEncodedBytes <= 255, "sizes fit a byte");

    void stuff(uint8_t byte) {
        *at_ = byte;
        if (byte == 0) { // the place of the zero becomes the next code byte
            *code_at_ = static_cast<uint8_t>(at_ - code_at_);
            code_at_ = at_;
        }
        ++at_;
    }

    uint8_t* begin_;
    uint8_t* code_at_;
    uint8_t* at_;
    uint16_t crc_ = wire::kCrcInit;
};

} // namespace firmware
} // namespace yokedock
