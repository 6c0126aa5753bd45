// SPDX-License-Identifier: MIT
// The calibration in a fake EEPROM: cut at every byte of every write, with the byte under way left
// in whatever state, one whole copy is always there, and it is the old one or the new one.
#include "firmware/core/calibration_store.hpp"
#include "firmware/core/frame_writer.hpp"
#include "tests/unit/firmware/device_fixture.hpp"
#include <optional>
#include <random>

using namespace yokedock;
using namespace yokedock::firmware;

namespace {

struct Memory {
    using Crc = PlainCrc;
    std::vector<std::uint8_t> bytes = std::vector<std::uint8_t>(4096, 0xFF);
    int writes = 0;
    std::optional<int> cut_at;  ///< the supply goes away in this write, counted from 0
    std::uint8_t torn_with = 0; ///< what the cell then holds
    bool dead = false;

    std::uint8_t eeprom_read(std::uint16_t address) const { return bytes.at(address); }
    bool eeprom_ready() const { return true; }
    void eeprom_write(std::uint16_t address, std::uint8_t value) {
        if (dead) {
            return;
        }
        dead = cut_at && writes == *cut_at;
        bytes.at(address) = dead ? torn_with : value;
        ++writes;
    }
};

wire::Calibration calibration(std::uint32_t seed) {
    wire::Calibration c;
    std::mt19937 engine(seed);
    const auto random = [&engine] { return static_cast<std::uint32_t>(engine()); };
    c.serial = 4711;
    c.date = 1700000000 + seed;
    c.channels = 0x3F;
    for (int i = 0; i < wire::kGuardChannels; ++i) {
        c.gain[i] = 1000000 + random() % 20000;
        c.zero[i] = random();
        c.gain_u[i] = random();
        c.zero_u[i] = random();
    }
    c.clock_ppb = random();
    c.adc_reference_uv = random();
    c.trigger_delay_ps = random();
    return c;
}

bool same(const wire::Calibration& a, const wire::Calibration& b) {
    std::uint8_t x[wire::kMaxPayloadBytes] = {};
    std::uint8_t y[wire::kMaxPayloadBytes] = {};
    wire::write_fields(a, x, sizeof(x));
    wire::write_fields(b, y, sizeof(y));
    return std::equal(x, x + sizeof(x), y);
}

/// Until it is stored, or the supply is gone.
void store(Memory& memory, const wire::Calibration& c) {
    CalibrationStore<Memory> store(memory);
    std::uint8_t image[CalibrationStore<Memory>::kImageBytes];
    store.begin(c, image);
    for (int i = 0; i < 1000 && store.storing() && !memory.dead; ++i) {
        store.poll();
    }
    CHECK(store.storing() == memory.dead);
}

wire::CalibrationAnswer read_back(Memory& memory) {
    return CalibrationStore<Memory>(memory).read();
}

} // namespace

TEST_CASE("a bench without a calibration says so; one with a calibration gives it back") {
    Memory memory;
    CHECK(read_back(memory).newest == 0);
    CHECK(read_back(memory).copies == 0x30); // both empty
    for (std::uint32_t n = 1; n <= 5; ++n) {
        store(memory, calibration(n));
        const auto answer = read_back(memory);
        CHECK(answer.sequence == n);
        CHECK(answer.newest == (n % 2 == 1 ? 1 : 2)); // in turn
        CHECK(same(answer.calibration, calibration(n)));
        CHECK(answer.copies == (n == 1 ? 0x21 : 0x03));
        CHECK(CalibrationStore<Memory>(memory).serial() == 4711);
    }
    CHECK(memory.bytes[0] == 0xFF); // the serial number's place is left alone
}

TEST_CASE("a cut at any byte of a write leaves the old calibration or the new one") {
    Memory first;
    store(first, calibration(1));
    store(first, calibration(2));
    Memory whole = first;
    whole.writes = 0;
    store(whole, calibration(3));
    const int bytes = whole.writes;
    CHECK(bytes > 100); // or there is little to be cut
    int cuts = 0;
    for (int cut = 0; cut < bytes; ++cut) {
        for (const int torn : {0x00, 0xFF, 0xC5, 0x5A, cut * 7 & 0xFF}) {
            Memory memory = first;
            memory.writes = 0;
            memory.cut_at = cut;
            memory.torn_with = static_cast<std::uint8_t>(torn);
            store(memory, calibration(3));
            const auto answer = read_back(memory);
            INFO("cut in write " << cut << ", cell left at " << torn);
            REQUIRE(answer.newest != 0);
            const bool old = same(answer.calibration, calibration(2));
            // New only when its last byte, the mark, happened to be whole.
            REQUIRE((old || (cut == bytes - 1 && torn == 0xC5 &&
                             same(answer.calibration, calibration(3)))));
            ++cuts;
            // And the next write is good.
            memory.cut_at.reset();
            memory.dead = false;
            store(memory, calibration(4));
            REQUIRE(same(read_back(memory).calibration, calibration(4)));
            REQUIRE(read_back(memory).copies == 0x03);
        }
    }
    CHECK(cuts >= 500);
    // The very first write, too: nothing, or all.
    for (int cut = 0; cut < bytes; ++cut) {
        Memory memory;
        memory.cut_at = cut;
        store(memory, calibration(1));
        const auto answer = read_back(memory);
        REQUIRE((answer.newest == 0 || same(answer.calibration, calibration(1))));
    }
}

TEST_CASE("a flipped bit is noticed wherever it is, and the other copy counts") {
    Memory good;
    store(good, calibration(1));
    store(good, calibration(2)); // copy 2
    using Store = CalibrationStore<Memory>;
    for (std::uint16_t i = 0; i < Store::kCopyBytes; ++i) {
        for (int bit = 0; bit < 8; ++bit) {
            Memory memory = good;
            memory.bytes[Store::address_of(1) + i] ^= static_cast<std::uint8_t>(1 << bit);
            const auto answer = read_back(memory);
            REQUIRE(answer.copies == 0x01); // copy 2: neither whole nor empty
            REQUIRE(answer.newest == 1);
            REQUIRE(same(answer.calibration, calibration(1)));
        }
    }
}

TEST_CASE("the device stores a calibration while it goes on answering, and only when idle") {
    using Kind = wire::MessageKind;
    Bench bench;
    bench.hardware.serial = 0; // erased
    bench.device.begin();
    std::uint8_t number = 0;
    wire::Calibration c = calibration(9);
    const auto refused_field = [&](auto change) {
        wire::Calibration bad = calibration(9);
        change(bad);
        const auto answer = bench.ask(Kind::write_calibration, ++number, bad);
        return answer.kind == Kind::refused
                   ? static_cast<int>(read<wire::RefusedAnswer>(answer).detail)
                   : -1;
    };
    CHECK(refused_field([](auto& b) { b.serial = 0; }) == 0);
    CHECK(refused_field([](auto& b) { b.parts = 8; }) == 3);
    CHECK(refused_field([](auto& b) { b.gain[0] = 499999; }) == 4);
    CHECK(refused_field([](auto& b) { b.gain[7] = 2000001; }) == 11);
    const auto first = read<wire::StoreAnswer>(bench.ask(Kind::write_calibration, ++number, c));
    CHECK(first.left == CalibrationStore<FakeHardware>::kImageBytes + 2);
    const auto refused_storing = [&](const Answer& answer) {
        REQUIRE(answer.kind == Kind::refused);
        const auto refused = read<wire::RefusedAnswer>(answer);
        CHECK(refused.reason == static_cast<std::uint8_t>(wire::RefusalReason::storing));
        CHECK(refused.detail > 0);
        CHECK(refused.detail <= first.left);
    };
    refused_storing(bench.ask_payload(Kind::read_calibration, ++number, {}));
    refused_storing(bench.ask(Kind::start_capture, ++number, wire::CaptureSettings{}));
    refused_storing(bench.ask(Kind::write_calibration, ++number, c));
    refused_storing(
        bench.ask(Kind::step_load, ++number, wire::StepSettings{1, 40000, 40000, 1, 20}));
    refused_storing(bench.ask(Kind::power_on, ++number, wire::PowerStage{1}));
    int rounds = 0;
    while (read<wire::StoreAnswer>(bench.ask_payload(Kind::store_state, ++number, {})).left != 0) {
        bench.hardware.time += 54400;
        ++rounds;
        REQUIRE(rounds < 300);
    }
    CHECK(rounds > 100); // a byte at a time
    const auto answer =
        read<wire::CalibrationAnswer>(bench.ask_payload(Kind::read_calibration, ++number, {}));
    CHECK(answer.newest == 1);
    CHECK(same(answer.calibration, c));
    // The bench has its serial number from there, and gives it to no other.
    wire::IdentifyRequest identify;
    identify.protocol = wire::kProtocolVersion;
    CHECK(read<wire::IdentifyAnswer>(bench.ask(Kind::identify, ++number, identify)).bench_serial ==
          4711);
    bench.hardware.serial = 12;
    CHECK(refused_field([](auto&) {}) == 0);
}
