// SPDX-License-Identifier: MIT
// The firmware's request handling, fed with runs of requests that are whole frames (the first byte
// of a run is the kind, the second the size of what follows), then with the bytes as they are. All
// it sends must be whole frames, its answers readable as the table has them, the supply never on.
#include "host/link/refusal.hpp"
#include "tests/fuzz/promise.hpp"
#include "tests/unit/capture/firmware_device.hpp"
#include <algorithm>

using namespace yokedock;

namespace {

template <class Message> void read_back(const wire::Frame& frame) {
    Message message;
    test::promise(wire::read_fields(message, frame.payload, frame.size), "an answer is readable");
    if constexpr (std::is_same_v<Message, wire::PowerAnswer> ||
                  std::is_same_v<Message, wire::StatusAnswer>) {
        test::promise(!link::state_text(static_cast<wire::BenchState>(message.state)).empty(),
                      "a state has a text");
    }
}

void check_frame(const wire::Frame& frame) {
    switch (static_cast<unsigned>(frame.kind)) {
#define X(name, id, request, answer, text)                                                         \
    case static_cast<unsigned>(wire::answer_to(wire::MessageKind::name)):                          \
        if (wire::MessageKind::name != wire::MessageKind::echo) {                                  \
            read_back<wire::answer>(frame);                                                        \
        }                                                                                          \
        break;
        YOKEDOCK_REQUESTS(X)
#undef X
    default:
        if (frame.kind == wire::MessageKind::refused) {
            wire::RefusedAnswer refused;
            test::promise(wire::read_fields(refused, frame.payload, frame.size),
                          "a refusal is readable");
            test::promise(!link::refusal_error(refused, {}).text.empty(), "a refusal has a text");
        } else {
            test::promise(frame.kind == wire::MessageKind::block, "nothing else is sent");
        }
    }
}

void check_sent(const std::vector<std::vector<std::uint8_t>>& sent) {
    for (const auto& bytes : sent) {
        wire::FrameDecoder<> decoder;
        wire::DecodeEvent event = wire::DecodeEvent::kNothing;
        for (const std::uint8_t byte : bytes) {
            event = decoder.push(byte);
        }
        test::promise(event == wire::DecodeEvent::kFrame, "what is sent is a whole frame");
        check_frame(decoder.frame());
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    test::FirmwareDevice device;
    std::uint8_t scratch[wire::kMaxFrameBytes];
    std::uint8_t out[wire::kMaxEncodedBytes];
    std::uint8_t number = 0;
    for (std::size_t at = 0; at + 2 <= size;) {
        const auto kind = static_cast<wire::MessageKind>(data[at]);
        const std::size_t most = std::min<std::size_t>(size - at - 2, wire::kMaxPayloadBytes);
        const std::size_t length = std::min<std::size_t>(data[at + 1], most);
        const std::size_t encoded =
            wire::encode_frame(kind, ++number, data + at + 2, length, scratch, out);
        check_sent(device.receive({out, encoded}));
        at += 2 + length;
    }
    check_sent(device.receive({data, size}));
    return 0;
}
