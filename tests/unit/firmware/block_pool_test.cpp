// SPDX-License-Identifier: MIT
#include "firmware/core/block_pool.hpp"
#include "firmware/ports/host/fake_hardware.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::firmware;

namespace {
using Pool = BlockPool<8, NoLock>;

void sample(Pool& pool, std::uint32_t time, std::uint16_t code, std::uint8_t channel) {
    pool.push_sample(static_cast<std::uint16_t>(time), code, channel,
                     [time](std::uint16_t) { return time; });
}
std::uint32_t edge(Pool& pool, std::uint32_t time, bool rising, bool wrapped) {
    return pool.push_line_edge(static_cast<std::uint16_t>(time), rising, wrapped,
                               [time](std::uint16_t) { return time; });
}
std::uint32_t word32(const Block& block, std::size_t n) {
    std::uint32_t word = 0;
    for (std::size_t i = 0; i < 4; ++i) {
        word |= static_cast<std::uint32_t>(block.data[4 * n + i]) << (8 * i);
    }
    return word;
}
} // namespace

TEST_CASE("samples keep time, channel and code, over blocks and the wrap of the clock") {
    Pool pool;
    pool.reset();
    std::uint32_t time = 0xFFFFFF00u;
    for (unsigned n = 0; n < 120; ++n, time += 1017) {
        sample(pool, time, static_cast<std::uint16_t>(n * 8), static_cast<std::uint8_t>(n % 8));
    }
    pool.seal_open();
    time = 0xFFFFFF00u;
    unsigned n = 0;
    for (std::uint16_t number = 0; number < pool.next(); ++number) {
        const Block* block = pool.find(number);
        REQUIRE(block != nullptr);
        CHECK(block->base_time == time);
        CHECK(block->flags == 0);
        for (unsigned i = 0; i < block->count; ++i, ++n, time += 1017) {
            const std::uint32_t word = word32(*block, i);
            CHECK((word & 1023) == n * 8);
            CHECK(((word >> 10) & 7) == n % 8);
            CHECK(static_cast<std::uint32_t>(block->base_time + (word >> 13)) == time);
        }
    }
    CHECK(n == 120);
}

TEST_CASE("a sample too late for its block's time field begins a block") {
    Pool pool;
    pool.reset();
    // 54 words of 10000 ticks are 540000: more than the 524287 that 19 bits hold.
    for (std::uint32_t n = 0; n < 54; ++n) {
        sample(pool, n * 10000, 1, 0);
    }
    pool.seal_open();
    REQUIRE(pool.next() == 2);
    CHECK(pool.find(0)->count == 53);
    CHECK(pool.find(1)->base_time == 530000);
}

TEST_CASE("line edges are stored as gaps, and long gaps begin a block") {
    Pool pool;
    pool.reset();
    pool.begin_line_edges(0);
    CHECK(edge(pool, 1000, true, false) == 0);
    CHECK(edge(pool, 1180, false, false) == 0);
    CHECK(edge(pool, 33900, true, false) == 0);                // 32720: still a gap
    CHECK(edge(pool, 70000, true, true) == 36100);             // more than 15 bits
    CHECK(edge(pool, 70000 + 65536 + 5, true, true) == 65541); // the low half alone would say 5
    pool.seal_open();
    REQUIRE(pool.next() == 3);
    const Block* first = pool.find(0);
    CHECK(first->base_time == 1000);
    REQUIRE(first->count == 3);
    CHECK(first->data[0] == 0);
    CHECK(first->data[1] == 0x80);
    CHECK(first->data[2] == 180);
    CHECK(first->data[3] == 0);
    CHECK((first->data[4] | (first->data[5] << 8)) == (32720 | 0x8000));
    CHECK(pool.find(1)->base_time == 70000);
    CHECK(pool.find(2)->base_time == 135541);
}

TEST_CASE("a full pool drops and counts, and the next block of that kind tells the gap") {
    Pool pool;
    pool.reset();
    std::uint32_t time = 0;
    while (pool.dropped() == 0) {
        pool.push_field_start(time += 1000, 5);
    }
    CHECK(pool.next() == 8); // all blocks sealed
    pool.push_field_edge(77, true);
    CHECK(pool.dropped() == 2);
    CHECK(pool.oldest() == 0);
    pool.free_below(3);
    CHECK(pool.oldest() == 3);
    CHECK(pool.find(2) == nullptr);
    pool.push_field_start(time, 5);
    pool.push_field_edge(78, false);
    sample(pool, 79, 1, 1);
    pool.seal_open();
    CHECK(pool.find(8)->flags != pool.find(10)->flags);
    for (std::uint16_t n = 8; n < 11; ++n) {
        const Block* block = pool.find(n);
        const bool lost = block->kind != static_cast<std::uint8_t>(wire::BlockKind::kSamples);
        CHECK(block->flags == (lost ? wire::kBlockFlagGap : 0));
    }
}

TEST_CASE("freeing takes any number without harm, over the wrap of the numbers too") {
    Pool pool;
    pool.reset();
    for (unsigned round = 0; round < 30000; ++round) {
        for (unsigned n = 0; n < 27; ++n) {
            pool.push_field_start(n, round);
        }
        const auto newest = static_cast<std::uint16_t>(pool.next() - 1);
        const Block* block = pool.find(newest);
        REQUIRE(block != nullptr);
        REQUIRE(word32(*block, 1) == round);
        pool.free_below(static_cast<std::uint16_t>(newest - 100)); // long gone: nothing happens
        REQUIRE(pool.find(newest) != nullptr);
        pool.free_below(static_cast<std::uint16_t>(pool.next() + 50)); // not yet there: all of it
        REQUIRE(pool.find(newest) == nullptr);
    }
    CHECK(pool.dropped() == 0);
}
