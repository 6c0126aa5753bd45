// SPDX-License-Identifier: MIT
#include "host/capture/block_decoder.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::capture;
using wire::BlockKind;

namespace {

struct Decoding {
    RawCapture capture;
    TickAxis axis;

    explicit Decoding(std::uint32_t begin) { capture.begin_ticks = axis.unwrap(begin); }

    bool add(BlockKind kind, std::uint32_t base, std::vector<std::uint8_t> words,
             std::uint8_t count, std::uint8_t flags = 0) {
        BlockDecoder decoder(capture, axis);
        return decoder.add({0, static_cast<std::uint8_t>(kind), flags, count, base}, words);
    }
};

} // namespace

TEST_CASE("a sample word is code, channel and time after the base") {
    Decoding d(1000);
    // code 0x2A5, channel 5, 3 ticks after the base: 0x2A5 | 5 << 10 | 3 << 13 = 0x000076A5
    REQUIRE(d.add(BlockKind::kSamples, 2000, {0xA5, 0x76, 0x00, 0x00}, 1));
    CHECK(d.capture.samples.code == std::vector<std::uint16_t>{0x2A5});
    CHECK(d.capture.samples.channel == std::vector<std::uint8_t>{5});
    CHECK(d.capture.samples.ticks == std::vector<std::int64_t>{2003});
}

TEST_CASE("line edges add up from the base, with their directions") {
    Decoding d(0);
    REQUIRE(d.add(BlockKind::kLineEdges, 500, {0x00, 0x80, 0x64, 0x00, 0xE8, 0x83}, 3));
    CHECK(d.capture.line_edges.ticks == std::vector<std::int64_t>{500, 600, 1600});
    CHECK(d.capture.line_edges.rising == std::vector<bool>{true, false, true});
}

TEST_CASE("times go on after the wrap of the device's 32-bit clock") {
    Decoding d(0xFFFFFF00u);
    REQUIRE(d.add(BlockKind::kSamples, 0xFFFFFFF0u, {0x00, 0x00, 0x04, 0x00}, 1)); // 32 ticks after
    CHECK(d.capture.samples.ticks[0] == 0x100000010LL);
    // A field edge at 0x00000020, bit 31 of the time replaced by the direction; base before the
    // wrap.
    REQUIRE(d.add(BlockKind::kFieldEdges, 0xFFFFFFF0u, {0x20, 0x00, 0x00, 0x80}, 1));
    CHECK(d.capture.field_edges.ticks[0] == 0x100000020LL);
    CHECK(d.capture.field_edges.rising[0]);
    // A block whose base is older than the newest time seen is not taken for a later one.
    REQUIRE(d.add(BlockKind::kFieldStarts, 0xFFFFFF80u,
                  {0x80, 0xFF, 0xFF, 0xFF, 0x07, 0x00, 0x00, 0x80}, 1));
    CHECK(d.capture.field_starts.ticks[0] == 0xFFFFFF80LL);
    CHECK(d.capture.field_starts.accumulator[0] == 7);
    CHECK(d.capture.field_starts.mid_line[0]);
}

TEST_CASE("a gap flag notes the time from the last word of that kind to the first after it") {
    Decoding d(100);
    REQUIRE(d.add(BlockKind::kLineEdges, 500, {0x00, 0x80}, 1));
    REQUIRE(d.add(BlockKind::kSamples, 600, {0, 0, 0, 0}, 1));
    REQUIRE(d.add(BlockKind::kLineEdges, 9000, {0x00, 0x80}, 1, wire::kBlockFlagGap));
    REQUIRE(d.capture.gaps.size() == 1);
    CHECK(d.capture.gaps[0].kind == BlockKind::kLineEdges);
    CHECK(d.capture.gaps[0].begin_ticks == 500);
    CHECK(d.capture.gaps[0].end_ticks == 9000);
}

TEST_CASE("a block of unknown kind or wrong size is not taken") {
    Decoding d(0);
    CHECK_FALSE(d.add(BlockKind::kSamples, 0, {0, 0, 0}, 1));
    CHECK_FALSE(d.add(BlockKind::kSamples, 0, {}, 0));
    CHECK_FALSE(d.add(static_cast<BlockKind>(9), 0, {0, 0, 0, 0}, 1));
    CHECK(d.capture.samples.ticks.empty());
}

TEST_CASE("finishing cuts at the end, and a source that went silent after drops was not watched") {
    Decoding d(0);
    d.capture.settings.line_edge_mode = 1;
    d.capture.settings.entries = 1;
    d.capture.words_dropped = 5;
    d.capture.end_ticks = 100000;
    REQUIRE(d.add(BlockKind::kLineEdges, 500, {0x00, 0x80}, 1));
    REQUIRE(d.add(BlockKind::kSamples, 99000, {0, 0, 0, 0}, 1));
    REQUIRE(d.add(BlockKind::kSamples, 100001, {0, 0, 0, 0}, 1, wire::kBlockFlagGap));
    BlockDecoder(d.capture, d.axis).finish(8000, false);
    CHECK(d.capture.samples.ticks == std::vector<std::int64_t>{99000});
    REQUIRE(d.capture.gaps.size() == 2);
    CHECK(d.capture.gaps[0].kind == BlockKind::kSamples);
    CHECK(d.capture.gaps[0].end_ticks == 100000);
    CHECK(d.capture.gaps[1].kind == BlockKind::kLineEdges);
    CHECK(d.capture.gaps[1].begin_ticks == 500);
    CHECK(d.capture.gaps[1].end_ticks == 100000);
}
