// SPDX-License-Identifier: MIT
// libFuzzer target: any bytes through the frame decoder. What it accepts must encode to a frame
// that decodes to the same again, and a good frame after a zero must be taken.
#include "shared/wire/frame.hpp"
#include <cstdint>
#include <cstdlib>
#include <cstring>

using namespace yokedock::wire;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FrameDecoder<> decoder;
    std::uint8_t scratch[kMaxFrameBytes];
    std::uint8_t out[kMaxEncodedBytes];
    for (std::size_t i = 0; i < size; ++i) {
        if (decoder.push(data[i]) == DecodeEvent::kFrame) {
            const Frame frame = decoder.frame();
            const std::size_t encoded =
                encode_frame(frame.kind, frame.number, frame.payload, frame.size, scratch, out);
            FrameDecoder<> second;
            DecodeEvent event = DecodeEvent::kNothing;
            for (std::size_t k = 0; k < encoded; ++k) {
                event = second.push(out[k]);
            }
            if (event != DecodeEvent::kFrame || second.frame().kind != frame.kind ||
                second.frame().size != frame.size ||
                std::memcmp(second.frame().payload, frame.payload, frame.size) != 0) {
                std::abort();
            }
        }
    }
    decoder.push(0);
    const std::size_t encoded = encode_frame(MessageKind::status, 1, nullptr, 0, scratch, out);
    DecodeEvent event = DecodeEvent::kNothing;
    for (std::size_t k = 0; k < encoded; ++k) {
        event = decoder.push(out[k]);
    }
    if (event != DecodeEvent::kFrame) {
        std::abort();
    }
    return 0;
}
