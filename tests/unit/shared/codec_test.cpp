// SPDX-License-Identifier: MIT
#include "tests/unit/shared/codec_checks.hpp"
#include <catch2/catch.hpp>
#include <set>

using namespace yokedock;

namespace {
struct Report {
    void check(bool ok, int line) {
        ++checks;
        if (!ok) {
            failed.insert(line);
        }
    }
    int checks = 0;
    std::set<int> failed; ///< lines of codec_checks.hpp
};
} // namespace

TEST_CASE("the codec keeps its golden frames, COBS boundaries and step after noise") {
    Report report;
    test::check_codec(report);
    CAPTURE(report.failed);
    CHECK(report.failed.empty());
    CHECK(report.checks > 350);
}

TEST_CASE("every message kind, state and cause has its own number") {
    std::set<int> kinds;
    int rows = 0;
#define X(name, id, ...)                                                                           \
    kinds.insert(id);                                                                              \
    ++rows;
    YOKEDOCK_REQUESTS(X)
    YOKEDOCK_DEVICE_FRAMES(X)
#undef X
    CHECK(static_cast<int>(kinds.size()) == rows);
#define X(name, id, ...) CHECK(kinds.count(id | wire::kAnswerBit) == 0); // an answer is no request
    YOKEDOCK_REQUESTS(X)
#undef X
}

TEST_CASE("a payload too long for a frame is not encoded") {
    std::uint8_t payload[wire::kMaxPayloadBytes + 1] = {};
    std::uint8_t scratch[wire::kMaxFrameBytes];
    std::uint8_t out[wire::kMaxEncodedBytes];
    CHECK(wire::encode_frame(wire::MessageKind::echo, 0, payload, sizeof(payload), scratch, out) ==
          0);
    // The longest allowed, all zeros: every byte becomes a code byte, and the bound holds.
    const std::size_t bytes =
        wire::encode_frame(wire::MessageKind::echo, 0, payload, sizeof(payload) - 1, scratch, out);
    CHECK(bytes <= wire::kMaxEncodedBytes);
    CHECK(bytes == wire::kMaxFrameBytes + 2);
}
