// SPDX-License-Identifier: MIT
// Chip and board wired together: what either learns of the other, and when.
#include "demo/virtual_bench/system/bench_simulation.hpp"
#include "demo/virtual_bench/system/sync_polarity.hpp"
#include "tests/unit/chip/fake_board.hpp"
#include "tests/unit/chip/recorder.hpp"
#include <cmath>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

struct Wired {
    FakeBoard* board;
    std::unique_ptr<BenchSimulation> bench;
};

Wired wire(const std::string& image, std::vector<RetraceEdge> edges = {}) {
    auto board = std::make_unique<FakeBoard>();
    board->edges = std::move(edges);
    FakeBoard* raw = board.get();
    auto bench = BenchSimulation::create(chip_image(image), std::move(board));
    if (!bench) {
        FAIL(bench.error().text);
    }
    return {raw, std::move(bench).value()};
}

void run(BenchSimulation& bench, Cycle cycles) {
    const Status status = bench.run_cycles(cycles);
    if (!status) {
        FAIL(status.error().text);
    }
}

} // namespace

TEST_CASE("the board gets every sync edge at its exact time and is never ahead of one") {
    const Wired wired = wire("slots");
    run(*wired.bench, 1'000'000);
    const auto& sync = wired.board->sync;
    REQUIRE(sync.size() > 3900);
    CHECK(wired.board->rules_kept);
    CHECK(wired.bench->late_sync_edges() == 0);
    // The image's pulses are low, 40 and 76 cycles wide in turn; low is the sync level by default.
    // The pin is low from reset, which is not sync yet, so sync[0] is the start of slot 1's pulse.
    for (std::size_t i = 0; i + 1 < sync.size(); i += 2) {
        REQUIRE(sync[i].tip);
        REQUIRE_FALSE(sync[i + 1].tip);
        const double width_cycles = (sync[i + 1].time_s - sync[i].time_s) * kClockHz;
        // Both times are whole cycles in binary floating point: equal to within its rounding at 0.1
        // s.
        REQUIRE(width_cycles == Approx((i / 2) % 2 == 0 ? 76 : 40).margin(1e-6));
    }
}

TEST_CASE("a comparator edge reaches the capture unit at the first clock edge after it") {
    std::vector<RetraceEdge> edges;
    for (unsigned i = 0; i < 40; ++i) { // every 100.01 us, between clock edges
        edges.push_back({2e-3 + i * 100.01e-6, true, i % 2 == 0});
    }
    const Wired wired = wire("capture", edges);
    run(*wired.bench, 200'000);
    const auto bytes = wired.bench->take_output();
    REQUIRE(bytes.size() == 1 + 3 * edges.size());
    const auto stamp = [&](std::size_t i) {
        return bytes[2 + 3 * i] | unsigned{bytes[3 + 3 * i]} << 8;
    };
    for (std::size_t i = 0; i < edges.size(); ++i) {
        CHECK(bytes[1 + 3 * i] == (edges[i].rising ? '4' | 0x80 : '4'));
        const auto cycle = static_cast<unsigned>(std::ceil(edges[i].time_s * kClockHz));
        const auto first = static_cast<unsigned>(std::ceil(edges[0].time_s * kClockHz));
        CHECK(((stamp(i) - stamp(0)) & 0xFFFFu) == ((cycle - first) & 0xFFFFu));
    }
}

TEST_CASE("a sample asks the board for the converter's own instant and its code comes up") {
    const Wired wired = wire("adc");
    std::vector<std::pair<ChannelId, double>> asked;
    wired.board->code = [&](ChannelId channel, double time_s) {
        asked.emplace_back(channel, time_s);
        return static_cast<int>(asked.size() % 1024);
    };
    wired.bench->send({4}); // ADC clock: 1 MHz
    run(*wired.bench, 1'000'000);
    const auto bytes = wired.bench->take_output();
    REQUIRE(asked.size() > 300);
    CHECK(wired.board->rules_kept);
    for (std::size_t i = 2; i < asked.size(); ++i) { // one per period of 2500 cycles
        REQUIRE((asked[i].second - asked[i - 1].second) * kClockHz == Approx(2500).margin(1e-6));
    }
    for (std::size_t i = 0; 2 * i + 1 < bytes.size(); ++i) {
        REQUIRE((bytes[2 * i] | bytes[2 * i + 1] << 8) == static_cast<int>((i + 2) % 1024));
    }
}

TEST_CASE("bytes go through the bench in memory, and waiting for output ends with the first") {
    const Wired wired = wire("echo");
    const std::vector<std::uint8_t> sent = {1, 0, 255, 17};
    wired.bench->send(sent);
    REQUIRE(wired.bench->run_until_output(1.0));
    CHECK(wired.bench->time_s() < 2e-3); // memory set-up, two bytes on the line and one step
    run(*wired.bench, 2000);
    CHECK(wired.bench->take_output() == sent);
    CHECK(wired.bench->take_output().empty());
    REQUIRE(wired.bench->run_until_output(0.01)); // nothing comes: ends at the limit
    CHECK(wired.bench->time_s() > 0.01);
}

TEST_CASE("relays and step drives reach the board when their port is written, a reset drops them") {
    const Wired wired = wire("adc"); // toggles PA0 with every conversion: K1's pin
    wired.bench->send({4});
    run(*wired.bench, 100'000);
    const auto& drives = wired.board->drives;
    REQUIRE(drives.size() > 30);
    for (std::size_t i = 1; i < drives.size(); ++i) {
        CHECK(drives[i].drive.k1 != drives[i - 1].drive.k1);
        CHECK_FALSE(drives[i].drive.k2);
        CHECK_FALSE(drives[i].drive.stop_pressed);
        const double cycle = drives[i].time_s * kClockHz;
        CHECK(cycle == Approx(std::round(cycle)).margin(1e-6)); // a whole cycle, not a step's end
    }
    const Wired dog = wire("watchdog"); // drives all of port A, then hangs
    dog.bench->send({'p', 'h'});
    run(*dog.bench, 400'000);
    REQUIRE(dog.board->drives.size() >= 2);
    CHECK_FALSE((dog.board->drives.front().drive == BenchDrive{}));
    CHECK((dog.board->drives[1].drive == BenchDrive{}));
    CHECK(dog.board->drives[1].time_s > 0.015);
}

TEST_CASE("each pin of the power side is the relay or drive that docs/bench gives it") {
    constexpr unsigned kDdrA = 0x21, kPortA = 0x22, kDdrL = 0x10A, kPortL = 0x10B;
    std::vector<std::uint8_t> script = {0};
    const auto write = [&](unsigned address, unsigned value) { // at once
        script.insert(script.end(),
                      {0xFF, 0xFF, 0, 0, static_cast<std::uint8_t>(address),
                       static_cast<std::uint8_t>(address >> 8), static_cast<std::uint8_t>(value)});
        ++script[0];
    };
    write(kDdrA, 0x1F);
    write(kDdrL, 0xFF);
    for (unsigned bit = 0; bit < 6; ++bit) {
        write(kPortA, 1u << bit); // bit 5 is no output: all off
    }
    write(kPortL, 1u << 3); // OC5A
    write(kPortL, 1u << 4); // OC5B
    write(kPortL, 0);
    const Wired wired = wire("script");
    wired.bench->send(script);
    run(*wired.bench, 40'000);
    constexpr bool BenchDrive::*kOrder[] = {
        &BenchDrive::k1,
        &BenchDrive::k2,
        &BenchDrive::k3,
        &BenchDrive::k4,
        &BenchDrive::k5,
        nullptr,
        &BenchDrive::step_vertical,
        &BenchDrive::step_horizontal,
        nullptr,
    };
    // One write of the chip may be told in two steps (pin by pin): what holds until the next write
    // counts, and writes are some 20 cycles apart.
    std::vector<BenchDrive> settled;
    const auto& drives = wired.board->drives;
    for (std::size_t i = 0; i < drives.size(); ++i) {
        if (i + 1 == drives.size() || drives[i + 1].time_s - drives[i].time_s > 8 / kClockHz) {
            settled.push_back(drives[i].drive);
        }
    }
    REQUIRE(settled.size() == std::size(kOrder));
    for (std::size_t n = 0; n < settled.size(); ++n) {
        BenchDrive expected;
        if (kOrder[n] != nullptr) {
            expected.*kOrder[n] = true;
        }
        CAPTURE(n);
        CHECK((settled[n] == expected));
    }
}

TEST_CASE("the over-current pin changes at the first clock edge after the board's comparator") {
    const Wired wired = wire("slots"); // the board is run ahead of the chip by up to 512 cycles
    for (unsigned i = 0; i < 40; ++i) {
        wired.board->pin_changes.push_back({1e-3 + i * 10.03e-6, i % 2 == 0});
    }
    constexpr std::uint16_t kPinD = 0x29;
    const auto pin = [&] { return (wired.bench->chip().data_byte(kPinD) & 1) != 0; };
    Cycle before = 0;
    std::vector<std::pair<Cycle, Cycle>> seen; // not yet, already
    bool level = false;
    while (wired.bench->chip().now() < 24'000) {
        before = wired.bench->chip().now();
        run(*wired.bench, 1);
        if (pin() != level) {
            level = !level;
            seen.emplace_back(before, wired.bench->chip().now());
        }
    }
    REQUIRE(seen.size() == 40);
    for (std::size_t i = 0; i < seen.size(); ++i) {
        const auto due =
            static_cast<Cycle>(std::ceil(wired.board->pin_changes[i].time_s * kClockHz));
        CHECK(seen[i].second >= due);
        CHECK(seen[i].first <= due + 12); // an instruction with an interrupt entry is not cut
    }
}

TEST_CASE("the stop button is read by the chip and felt by the relays") {
    const Wired wired = wire("slots");
    run(*wired.bench, 10'000);
    constexpr std::uint16_t kPinD = 0x29;
    CHECK((wired.bench->chip().data_byte(kPinD) & 2) == 0);
    wired.bench->press_stop(true);
    CHECK((wired.bench->chip().data_byte(kPinD) & 2) != 0);
    REQUIRE(wired.board->drives.size() == 1);
    CHECK(wired.board->drives[0].drive.stop_pressed);
    CHECK(wired.board->drives[0].time_s * kClockHz ==
          Approx(static_cast<double>(wired.bench->chip().now())).margin(1e-6));
    wired.bench->press_stop(false);
    CHECK_FALSE(wired.board->drives[1].drive.stop_pressed);
    run(*wired.bench, 10'000);
    CHECK((wired.bench->chip().data_byte(kPinD) & 2) == 0);
}

TEST_CASE("two benches with the same image and board say and do the same") {
    const Wired one = wire("slots");
    const Wired other = wire("slots");
    run(*one.bench, 300'000);
    for (int i = 0; i < 30; ++i) {
        run(*other.bench, 10'000);
    }
    REQUIRE(one.board->sync.size() > 1000);
    const std::size_t shared = std::min(one.board->sync.size(), other.board->sync.size());
    for (std::size_t i = 0; i < shared; ++i) {
        REQUIRE(one.board->sync[i].time_s == other.board->sync[i].time_s);
    }
}

TEST_CASE("the sync level is the one the pin is at for the smaller part of the time") {
    SyncPolarity polarity;
    CHECK(polarity.level_changed(0, false)); // until it knows better: active low
    Cycle t = 100;
    for (int line = 0; line < 3000; ++line) { // 4.7 us high in 63.5 us
        polarity.level_changed(t, true);
        polarity.level_changed(t + 75, false);
        t += 1017;
    }
    CHECK(polarity.active_high());
    // A vertical sync of a quarter of a field does not turn it.
    for (int line = 0; line < 6000; ++line) {
        polarity.level_changed(t, true);
        polarity.level_changed(t + (line % 100 < 25 ? 942 : 75), false);
        t += 1017;
    }
    CHECK(polarity.active_high());
    // A pin that rests for long tells nothing.
    polarity.level_changed(t + 16'000'000, true);
    CHECK(polarity.active_high());
}
