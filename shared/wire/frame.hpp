// SPDX-License-Identifier: MIT
// A frame on the line: COBS( kind, number, payload..., CRC low, CRC high ) 0x00.
#pragma once
#include "shared/wire/cobs.hpp"
#include "shared/wire/crc16.hpp"
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace wire {

constexpr size_t kFrameHeadBytes = 2;
constexpr size_t kFrameTailBytes = 2;
constexpr size_t kMaxPayloadBytes = wire_size<BlockHead>() + kBlockDataBytes;
constexpr size_t kMaxFrameBytes = kFrameHeadBytes + kMaxPayloadBytes + kFrameTailBytes;
constexpr size_t kMaxEncodedBytes = cobs_bound(kMaxFrameBytes) + 1;
static_assert(kMaxFrameBytes <= 254, "one COBS code byte per frame");
static_assert(kEchoBytes <= kMaxPayloadBytes, "an echo must fit a frame");
static_assert(wire_size<CaptureSettings>() <= kMaxPayloadBytes, "settings must fit a frame");

/// A received frame; payload points into the decoder's buffer and is valid until its next push().
struct Frame {
    MessageKind kind;
    uint8_t number;
    const uint8_t* payload;
    size_t size;
};

/// Builds one frame in out (at least kMaxEncodedBytes), ending zero included. size <= kMaxPayloadBytes.
/// scratch needs kMaxFrameBytes. Returns the bytes to send, 0 when size is too large.
constexpr size_t encode_frame(MessageKind kind, uint8_t number, const uint8_t* payload, size_t size,
                              uint8_t* scratch, uint8_t* out) {
    if (size > kMaxPayloadBytes) {
        return 0;
    }
    scratch[0] = static_cast<uint8_t>(kind);
    scratch[1] = number;
    for (size_t i = 0; i < size; ++i) {
        scratch[kFrameHeadBytes + i] = payload[i];
    }
    const size_t body = kFrameHeadBytes + size;
    const uint16_t crc = crc16(scratch, body);
    scratch[body] = static_cast<uint8_t>(crc);
    scratch[body + 1] = static_cast<uint8_t>(crc >> 8);
    const size_t encoded = cobs_encode(scratch, body + kFrameTailBytes, out);
    out[encoded] = 0;
    return encoded + 1;
}

enum class DecodeEvent : uint8_t {
    kNothing,  ///< in the middle of a frame, or an empty one (two zeros in a row)
    kFrame,    ///< frame() is valid
    kBadFrame, ///< coding, size or CRC wrong; the bytes up to this zero are discarded
};

/// Turns received bytes into frames. Capacity is the longest encoded frame accepted, without the zero.
/// Any byte sequence is safe; after at most one bad frame the decoder is in step again.
template <size_t Capacity = kMaxEncodedBytes - 1> class FrameDecoder {
  public:
    constexpr DecodeEvent push(uint8_t byte) {
        if (byte != 0) {
            if (size_ < Capacity) {
                buffer_[size_++] = byte;
            } else {
                overflow_ = true;
            }
            return DecodeEvent::kNothing;
        }
        const size_t size = size_;
        const bool overflow = overflow_;
        size_ = 0;
        overflow_ = false;
        if (size == 0 && !overflow) {
            return DecodeEvent::kNothing;
        }
        return !overflow && accept(size) ? DecodeEvent::kFrame : DecodeEvent::kBadFrame;
    }

    constexpr const Frame& frame() const { return frame_; }

  private:
    constexpr bool accept(size_t size) {
        const CobsDecoded decoded = cobs_decode_in_place(buffer_, size);
        if (!decoded.ok || decoded.size < kFrameHeadBytes + kFrameTailBytes) {
            return false;
        }
        const size_t body = decoded.size - kFrameTailBytes;
        const uint16_t sent = static_cast<uint16_t>(
            buffer_[body] | (static_cast<uint16_t>(buffer_[body + 1]) << 8));
        if (crc16(buffer_, body) != sent) {
            return false;
        }
        frame_ = {static_cast<MessageKind>(buffer_[0]), buffer_[1], buffer_ + kFrameHeadBytes,
                  body - kFrameHeadBytes};
        return true;
    }

    uint8_t buffer_[Capacity] = {};
    size_t size_ = 0;
    bool overflow_ = false;
    Frame frame_ = {};
};

} // namespace wire
} // namespace yokedock
