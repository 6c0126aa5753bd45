// SPDX-License-Identifier: MIT
// The codec checks on the device, where int has 16 bits, and the port's fast byte work against the
// plain one. Prints the line numbers of failed checks, then "done <checks>".
#include "firmware/core/frame_writer.hpp"
#include "firmware/ports/avr/crc16_fast.hpp"
#include "tests/unit/shared/codec_checks.hpp"
#include <avr/io.h>
#include <avr/sleep.h>

// The fast byte work feeds the line; here nothing waits to be sent.
namespace yokedock {
namespace firmware {
Sending sending;
} // namespace firmware
} // namespace yokedock

namespace {

void print(char c) {
    while ((UCSR0A & (1 << UDRE0)) == 0) {
    }
    UDR0 = static_cast<uint8_t>(c);
}

void print(uint16_t number) {
    char digits[5];
    uint8_t n = 0;
    do {
        digits[n++] = static_cast<char>('0' + number % 10);
        number /= 10;
    } while (number != 0);
    while (n != 0) {
        print(digits[--n]);
    }
    print('\n');
}

struct Report {
    void check(bool ok, int line) {
        ++checks;
        if (!ok) {
            print(static_cast<uint16_t>(line));
        }
    }
    uint16_t checks = 0;
};

/// FrameWriter with the fast byte work makes the bytes of wire::encode_frame, zeros anywhere.
void check_fast(Report& report) {
    using namespace yokedock;
    static uint8_t payload[wire::kMaxPayloadBytes];
    static uint8_t scratch[wire::kMaxFrameBytes];
    static uint8_t want[wire::kMaxEncodedBytes];
    static uint8_t out[wire::kMaxEncodedBytes];
    uint16_t seed = 1;
    for (uint8_t size = 0; size < wire::kMaxPayloadBytes; size = static_cast<uint8_t>(size + 7)) {
        for (uint8_t i = 0; i < size; ++i) {
            seed = static_cast<uint16_t>(seed * 25173u + 13849u);
            payload[i] = (seed >> 13) == 0 ? 0 : static_cast<uint8_t>(seed >> 8);
        }
        const size_t bytes =
            wire::encode_frame(wire::MessageKind::block, size, payload, size, scratch, want);
        firmware::FrameWriter<firmware::FastCrc> writer(out, wire::MessageKind::block, size);
        writer.put(payload, size);
        bool same = writer.finish() == bytes;
        for (size_t i = 0; i < bytes; ++i) {
            same = same && out[i] == want[i];
        }
        report.check(same, __LINE__);
    }
    uint16_t crc = 0xFFFF;
    uint16_t fast = 0xFFFF;
    for (uint16_t i = 0; i < 512; ++i) {
        const uint8_t byte = static_cast<uint8_t>(i * 7 + (i >> 8));
        crc = wire::crc16_update(crc, byte);
        fast = firmware::FastCrc::update(fast, byte);
        report.check(crc == fast, __LINE__);
    }
}

} // namespace

int main() {
    static_assert(sizeof(int) == 2, "that is what this test is for");
    UCSR0A = 1 << U2X0;
    UBRR0 = 1;
    UCSR0B = 1 << TXEN0;
    Report report;
    yokedock::test::check_codec(report);
    check_fast(report);
    for (const char* c = "done "; *c != 0; ++c) {
        print(*c);
    }
    print(report.checks);
    for (;;) {
        sleep_cpu();
    }
}
