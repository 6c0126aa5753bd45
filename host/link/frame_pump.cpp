// SPDX-License-Identifier: MIT
#include "host/link/frame_pump.hpp"
#include <algorithm>

namespace yokedock::link {

std::optional<FramePump::Event> FramePump::take_buffered() {
    while (begin_ < end_) {
        switch (decoder_.push(buffer_[begin_++])) {
        case wire::DecodeEvent::kFrame:
            ++frames_in_;
            return Event::kFrame;
        case wire::DecodeEvent::kBadFrame:
            ++frames_bad_;
            return Event::kBadFrame;
        case wire::DecodeEvent::kNothing:
            break;
        }
    }
    return std::nullopt;
}

Result<FramePump::Event> FramePump::next(Milliseconds timeout) {
    const Clock::time_point deadline = transport_.now() + timeout;
    for (;;) {
        if (const auto event = take_buffered()) {
            return *event;
        }
        const auto left = std::chrono::ceil<Milliseconds>(deadline - transport_.now());
        if (left.count() <= 0) {
            return Event::kTimeout;
        }
        const Result<std::size_t> count = transport_.read(buffer_, left);
        if (!count) {
            return count.error();
        }
        if (count.value() == 0) {
            return Event::kTimeout; // perhaps early, after a signal: the caller looks at its stop
                                    // token
        }
        begin_ = 0;
        end_ = count.value();
    }
}

Status FramePump::send(wire::MessageKind kind, std::uint8_t number, Bytes payload,
                       Milliseconds timeout) {
    assert(payload.size() <= wire::kMaxPayloadBytes);
    std::array<std::uint8_t, wire::kMaxFrameBytes> scratch{};
    // A zero in front ends whatever garbage the device's decoder may hold from before.
    std::array<std::uint8_t, wire::kMaxEncodedBytes + 1> out{};
    const std::size_t size = wire::encode_frame(kind, number, payload.data(), payload.size(),
                                                scratch.data(), out.data() + 1);
    return transport_.write_all(Bytes(out.data(), size + 1), timeout);
}

} // namespace yokedock::link
