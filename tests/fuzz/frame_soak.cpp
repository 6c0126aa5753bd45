// SPDX-License-Identifier: MIT
// Ten million random and mutated frames through the frame decoder, and what it accepts through the
// block decoder, built with the address and undefined-behaviour sanitizers whatever the preset.
// Takes about ten seconds.
//
// Each input is followed by a zero and a good frame, which must come out whole: the decoder is in
// step again after at most one bad frame. Bent frames that pass the CRC must be as rare as a 16-bit
// check makes them.
#include "host/capture/block_decoder.hpp"
#include "shared/wire/frame.hpp"
#include "tests/fuzz/random_bytes.hpp"
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <vector>

using namespace yokedock;

namespace {

constexpr std::uint32_t kFrames = 10000000;

struct Encoded {
    std::uint8_t bytes[wire::kMaxEncodedBytes];
    std::size_t size;
};

Encoded encode(wire::MessageKind kind, std::uint8_t number, const std::uint8_t* payload,
               std::size_t size) {
    Encoded out{};
    std::uint8_t scratch[wire::kMaxFrameBytes];
    out.size = wire::encode_frame(kind, number, payload, size, scratch, out.bytes);
    return out;
}

/// Mostly short payloads, as requests are; one in eight of any length up to the longest.
std::size_t random_size(test::RandomBytes& random, std::size_t most) {
    return random.below(static_cast<std::uint32_t>(random.below(8) == 0 ? most + 1 : 16));
}

Encoded random_frame(test::RandomBytes& random) {
    std::uint8_t payload[wire::kMaxPayloadBytes];
    const std::size_t size = random_size(random, wire::kMaxPayloadBytes);
    const std::uint32_t zeros = random.below(3);
    for (std::size_t i = 0; i < size; ++i) {
        payload[i] = random.below(3) < zeros ? 0 : static_cast<std::uint8_t>(random.next());
    }
    if (size > 8 && random.below(2) == 0) { // often a plausible block
        payload[2] = static_cast<std::uint8_t>(1 + random.below(4));
        payload[4] = static_cast<std::uint8_t>((size - 9) / 4);
        return encode(wire::MessageKind::block, static_cast<std::uint8_t>(random.next()), payload,
                      size);
    }
    return encode(static_cast<wire::MessageKind>(random.next() & 0xFF),
                  static_cast<std::uint8_t>(random.next()), payload, size);
}

/// Bits turned, bytes put in, taken out or doubled, a zero in the middle, the end cut off.
std::vector<std::uint8_t> mutate(const Encoded& frame, test::RandomBytes& random) {
    std::vector<std::uint8_t> bytes(frame.bytes, frame.bytes + frame.size);
    for (std::uint32_t n = 1 + random.below(4); n > 0 && !bytes.empty(); --n) {
        const auto at = random.below(static_cast<std::uint32_t>(bytes.size()));
        const auto where = bytes.begin() + at;
        switch (random.below(6)) {
        case 0:
            *where = static_cast<std::uint8_t>(*where ^ (1u << random.below(8)));
            break;
        case 1:
            *where = static_cast<std::uint8_t>(random.next());
            break;
        case 2:
            bytes.erase(where);
            break;
        case 3:
            bytes.insert(where, static_cast<std::uint8_t>(random.next()));
            break;
        case 4:
            *where = 0;
            break;
        default:
            bytes.resize(at);
        }
    }
    return bytes;
}

std::vector<std::uint8_t> noise(test::RandomBytes& random) {
    std::vector<std::uint8_t> bytes(random_size(random, 2 * wire::kMaxEncodedBytes));
    for (std::uint8_t& byte : bytes) {
        byte = static_cast<std::uint8_t>(random.next());
    }
    return bytes;
}

struct Soak {
    wire::FrameDecoder<> decoder;
    std::uint64_t good = 0;
    std::uint64_t bad = 0;
    std::uint64_t blocks = 0;
    std::uint64_t wrong = 0; ///< frames taken that are not `sent`, while it is set
    const Encoded* sent = nullptr;

    void push(const std::uint8_t* bytes, std::size_t size) {
        for (std::size_t i = 0; i < size; ++i) {
            const wire::DecodeEvent event = decoder.push(bytes[i]);
            bad += event == wire::DecodeEvent::kBadFrame ? 1u : 0u;
            if (event == wire::DecodeEvent::kFrame) {
                ++good;
                take_block();
                if (sent != nullptr) {
                    const wire::Frame& f = decoder.frame();
                    const Encoded again = encode(f.kind, f.number, f.payload, f.size);
                    const bool same =
                        again.size == sent->size &&
                        std::equal(again.bytes, again.bytes + again.size, sent->bytes);
                    wrong += same ? 0u : 1u;
                }
            }
        }
    }
    void push_zero() {
        const std::uint8_t zero = 0;
        push(&zero, 1);
    }

    void take_block() {
        const wire::Frame& frame = decoder.frame();
        wire::ReadVisitor reader(frame.payload, frame.size);
        wire::BlockHead head{};
        head.visit(reader);
        if (frame.kind == wire::MessageKind::block && reader.ok()) {
            capture::RawCapture raw;
            capture::TickAxis axis;
            capture::BlockDecoder block(raw, axis);
            blocks += block.add(head, {reader.rest(), reader.left()}) ? 1u : 0u;
            raw.end_ticks = head.base_time;
            block.finish(1000, (head.flags & 2) != 0);
        }
    }
};

[[noreturn]] void fail(const char* what, std::uint32_t at) {
    std::fprintf(stderr, "frame %u: %s\n", at, what);
    std::exit(1);
}

/// One input, by its number: whole frames, mutated ones (two of four) and noise in turn.
void push_one(Soak& soak, test::RandomBytes& random, std::uint32_t n) {
    if (n % 4 == 3) {
        const std::vector<std::uint8_t> bytes = noise(random);
        soak.push(bytes.data(), bytes.size());
        return;
    }
    const Encoded frame = random_frame(random);
    if (n % 4 == 0) {
        const std::uint64_t before = soak.good;
        soak.push(frame.bytes, frame.size);
        if (soak.good != before + 1) {
            fail("a whole frame was not taken", n);
        }
        return;
    }
    const std::vector<std::uint8_t> bytes = mutate(frame, random);
    soak.sent = &frame;
    soak.push(bytes.data(), bytes.size());
    soak.push_zero();
    soak.sent = nullptr;
}

} // namespace

int main() {
    test::RandomBytes random(0x59D0C);
    Soak soak;
    const std::uint8_t payload[3] = {7, 0, 9};
    const Encoded probe = encode(wire::MessageKind::echo, 42, payload, sizeof(payload));
    for (std::uint32_t n = 0; n < kFrames; ++n) {
        push_one(soak, random, n);
        soak.push_zero();
        const std::uint64_t before = soak.good;
        soak.push(probe.bytes, probe.size);
        const wire::Frame& frame = soak.decoder.frame();
        if (soak.good != before + 1 || frame.kind != wire::MessageKind::echo ||
            frame.number != 42 || frame.size != 3 || std::memcmp(frame.payload, payload, 3) != 0) {
            fail("the good frame after it was not taken", n);
        }
    }
    std::printf(
        "%u frames: %llu good, %llu bad, %llu blocks, %llu bent ones believed\n", kFrames,
        static_cast<unsigned long long>(soak.good), static_cast<unsigned long long>(soak.bad),
        static_cast<unsigned long long>(soak.blocks), static_cast<unsigned long long>(soak.wrong));
    // A 16-bit check passes one random piece in 65536. Half the inputs are bent and a bent one
    // falls into two pieces at the most on average: 153 expected. 300 is 12 standard deviations
    // more.
    if (soak.blocks == 0 || soak.bad == 0 || soak.wrong > 300) {
        fail("bent frames are believed too often, or nothing was tried", kFrames);
    }
    return 0;
}
