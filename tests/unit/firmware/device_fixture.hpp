// SPDX-License-Identifier: MIT
// The device in memory, asked over its own frames.
#pragma once
#include "firmware/core/device.hpp"
#include "firmware/ports/host/fake_hardware.hpp"
#include <catch2/catch.hpp>

namespace yokedock::firmware {

struct Answer {
    wire::MessageKind kind;
    std::uint8_t number;
    std::vector<std::uint8_t> payload;
};

struct Bench {
    FakeHardware hardware;
    Device<FakeHardware> device{hardware};

    Bench() { device.begin(); }

    void send_payload(wire::MessageKind kind, std::uint8_t number,
                      const std::vector<std::uint8_t>& payload) {
        std::uint8_t scratch[wire::kMaxFrameBytes];
        std::uint8_t out[wire::kMaxEncodedBytes];
        const std::size_t bytes =
            wire::encode_frame(kind, number, payload.data(), payload.size(), scratch, out);
        hardware.input.insert(hardware.input.end(), out, out + bytes);
    }

    std::vector<Answer> answers() {
        while (device.poll()) {
        }
        std::vector<Answer> all;
        wire::FrameDecoder<> decoder;
        for (const auto& frame : hardware.sent) {
            for (const std::uint8_t byte : frame) {
                if (decoder.push(byte) == wire::DecodeEvent::kFrame) {
                    const wire::Frame& f = decoder.frame();
                    all.push_back({f.kind, f.number, {f.payload, f.payload + f.size}});
                }
            }
        }
        hardware.sent.clear();
        return all;
    }

    Answer ask_payload(wire::MessageKind kind, std::uint8_t number,
                       const std::vector<std::uint8_t>& payload) {
        send_payload(kind, number, payload);
        const auto all = answers();
        REQUIRE(all.size() == 1);
        CHECK(all[0].number == number);
        return all[0];
    }

    template <class Request>
    Answer ask(wire::MessageKind kind, std::uint8_t number, const Request& request) {
        std::uint8_t payload[wire::kMaxPayloadBytes];
        const std::size_t size = wire::write_fields(request, payload, sizeof(payload));
        return ask_payload(kind, number, {payload, payload + size});
    }
};

template <class Message> Message read(const Answer& answer) {
    Message message;
    REQUIRE(wire::read_fields(message, answer.payload.data(), answer.payload.size()));
    return message;
}

inline void check_refused(const Answer& answer, wire::MessageKind request,
                          wire::RefusalReason reason, std::uint32_t detail) {
    REQUIRE(answer.kind == wire::MessageKind::refused);
    const auto refused = read<wire::RefusedAnswer>(answer);
    CHECK(refused.request == static_cast<std::uint8_t>(request));
    CHECK(refused.reason == static_cast<std::uint8_t>(reason));
    CHECK(refused.detail == detail);
}

} // namespace yokedock::firmware
