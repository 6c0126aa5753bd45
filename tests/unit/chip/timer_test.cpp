// SPDX-License-Identifier: MIT
// Rules of the timers, from the ATmega2560 data sheet, sections on the 16-bit timers and on Timer2.
// The first BOTTOM after the start is 1000 cycles (TOP = 999) before the second, and so on; times
// are taken from it.
#include "tests/unit/chip/timer_script.hpp"

using namespace yokedock::sim;

namespace {
constexpr std::uint8_t kSetAtMatchA = 0xC0;   // COM1A = 3: clear at BOTTOM
constexpr std::uint8_t kClearAtMatchA = 0x80; // COM1A = 2: set at BOTTOM

std::vector<OutputChange> after(const std::vector<OutputChange>& edges, Cycle from,
                                std::size_t count) {
    std::vector<OutputChange> found;
    for (const OutputChange& edge : edges) {
        if (edge.at >= from && found.size() < count) {
            found.push_back(edge);
        }
    }
    return found;
}
} // namespace

TEST_CASE("a compare value written in mid period takes effect at the next BOTTOM, not before") {
    Recorder recorder;
    // OC1B (COM1B = 2, width 10) marks BOTTOM; OC1A gets 300 in place of 100 when the count is past
    // 200.
    const auto chip = Script()
                          .write(reg::kDdrB, 0x60)
                          .write16(reg::kOcr1A, 99)
                          .write16(reg::kOcr1B, 9)
                          .start_timer1(kClearAtMatchA | 0x20)
                          .write16(reg::kOcr1A, 299, 3, 200)
                          .play(recorder, 20'000);
    const auto marks = recorder.of(Output::kOc1b);
    const auto pulses = recorder.of(Output::kOc1a);
    REQUIRE(marks.size() >= 12);
    const Cycle second = marks[0].at; // the pins first move at the first BOTTOM: overflow number 1
    for (unsigned n = 1; n <= 6; ++n) {
        const Cycle bottom = second + 1000 * (n - 1);
        const Cycle width = n <= 3 ? 100 : 300; // written after overflow 3, loaded at overflow 4
        const auto edges = after(pulses, bottom, 2);
        REQUIRE(edges.size() == 2);
        CHECK(edges[0] == OutputChange{Output::kOc1a, bottom, true});
        CHECK(edges[1] == OutputChange{Output::kOc1a, bottom + width, false});
    }
}

TEST_CASE("OCR = TOP gives a constant output and OCR > TOP never matches") {
    Recorder recorder;
    const auto chip =
        Script()
            .write(reg::kDdrB, 0xE0)
            .write16(reg::kOcr1A, 999)  // = TOP, clear at match: constant high
            .write16(reg::kOcr1B, 1000) // > TOP, set at match, clear at BOTTOM: constant low
            .write16(reg::kOcr1C, 999)  // = TOP, set at match: constant low
            .start_timer1(kClearAtMatchA | 0x30 | 0x0C)
            .play(recorder, 20'000);
    const auto a = recorder.of(Output::kOc1a);
    REQUIRE(a.size() == 1);
    CHECK(a[0].high);
    CHECK(recorder.of(Output::kOc1b).empty());
    CHECK(recorder.of(Output::kOc1c).empty());
    // The match itself still happens: OCF1A and OCF1C stand, OCF1B does not (TIFR1 is 0x36).
    CHECK((chip->data_byte(0x36) & 0x0E) == 0x0A);
}

TEST_CASE("OCR = 0 gives a spike of one timer clock at BOTTOM") {
    Recorder recorder;
    const auto chip = Script()
                          .write(reg::kDdrB, 0x20)
                          .write16(reg::kOcr1A, 0)
                          .start_timer1(kClearAtMatchA)
                          .play(recorder, 20'000);
    const auto edges = recorder.of(Output::kOc1a);
    REQUIRE(edges.size() > 10);
    for (std::size_t i = 0; i + 1 < edges.size(); i += 2) {
        CHECK(edges[i].high);
        CHECK(edges[i + 1].at == edges[i].at + 1);
    }
}

TEST_CASE("TOP takes effect at once and a TOP below the count lets the counter run to MAX") {
    Recorder recorder;
    const auto chip = Script()
                          .write(reg::kDdrB, 0x20)
                          .write16(reg::kOcr1A, 99)
                          .start_timer1(kSetAtMatchA)
                          .write16(reg::kIcr1, 699, 3, 300) // in time: this period is 700
                          .write16(reg::kIcr1, 399, 5, 500) // too late: this period is 65536
                          .play(recorder, 90'000);
    const auto edges = recorder.of(Output::kOc1a);
    std::vector<Cycle> bottoms;
    for (const OutputChange& edge : edges) {
        if (!edge.high) {
            bottoms.push_back(edge.at);
        }
    }
    REQUIRE(bottoms.size() > 7);
    // The pin is low from reset, so the first falling edge is the BOTTOM of overflow 1.
    const std::vector<Cycle> expected = {1000, 1000, 700, 700, 65536, 400};
    for (std::size_t i = 0; i < expected.size(); ++i) {
        CHECK(bottoms[i + 1] - bottoms[i] == expected[i]);
    }
    CHECK(chip->statistics().top_missed == 1);
}

TEST_CASE("ICR1 cannot be written in a mode that does not use it as TOP") {
    Recorder recorder;
    const auto chip = Script()
                          .write16(reg::kIcr1, 999) // still mode 0
                          .write(reg::kDdrB, 0x20)
                          .write(reg::kTccr1A, 0x82)
                          .write(reg::kTccr1B, 0x18)
                          .write16(reg::kOcr1A, 99)
                          .write(reg::kTccr1B, 0x19) // mode 14 with TOP = 0: BOTTOM in every cycle
                          .play(recorder, 20'000);
    const auto edges = recorder.of(Output::kOc1a);
    CHECK(edges.size() == 1); // set at BOTTOM; 99 > TOP never matches
}

TEST_CASE("a disconnected output follows the port and comes back with the latch as it was left") {
    Recorder recorder;
    // Width 500 of 1000. In period 4, at count 100 (latch high), COM1A = 0: the pin shows PORTB5 =
    // 0. Events while disconnected leave the latch alone, so at count 700 of period 5 reconnecting
    // shows it high again, until the match of period 6 clears it.
    const auto chip = Script()
                          .write(reg::kDdrB, 0x20)
                          .write16(reg::kOcr1A, 499)
                          .start_timer1(kClearAtMatchA)
                          .write(reg::kTccr1A, 0x02, 4, 100)
                          .write(reg::kPortB, 0x20, 4, 800)
                          .write(reg::kPortB, 0x00, 5, 300)
                          .write(reg::kTccr1A, 0x82, 5, 700)
                          .play(recorder, 20'000);
    const auto edges = recorder.of(Output::kOc1a);
    REQUIRE(edges.size() > 14);
    const Cycle bottom4 = edges[6].at; // rising edges 0, 2, 4, 6 are the BOTTOMs of periods 1 to 4
    const std::vector<std::pair<Cycle, bool>> expected = {
        {100, false},  {800, true},  {1300, false}, {1700, true},
        {2500, false}, {3000, true}, {3500, false}};
    for (std::size_t i = 0; i < expected.size(); ++i) {
        const OutputChange& edge = edges[7 + i];
        CHECK(edge.high == expected[i].second);
        CHECK(edge.at >= bottom4 + expected[i].first);
        CHECK(edge.at <= bottom4 + expected[i].first + (i < 4 ? 40 : 0)); // writes come by polling
    }
}

TEST_CASE("a pin that is not an output stays low and shows the latch once it is one") {
    Recorder recorder;
    const auto chip = Script()
                          .write16(reg::kOcr1A, 499)
                          .start_timer1(kClearAtMatchA)
                          .write(reg::kDdrB, 0x20, 4, 100)
                          .play(recorder, 12'000);
    const auto edges = recorder.of(Output::kOc1a);
    REQUIRE(edges.size() > 4);
    CHECK(edges[0].high);
    CHECK(edges[1].at - edges[0].at <= 400); // rises at the write (count 100 to 140), falls at 500
    CHECK(edges[1].at - edges[0].at >= 360);
    CHECK(edges[2].at - edges[1].at == 500);
}

TEST_CASE("Timer3 in normal mode sets and clears its pin at the exact count, and FOC sets it up") {
    Recorder recorder;
    // Both timers run from writes 7 steps apart; Timer3 (normal mode) clears OC3A at 30000, then
    // COM3A = 3 sets it at the 65536 later pass. FOC3A with COM3A = 3 puts the latch high before
    // the pin is an output.
    const auto chip = Script()
                          .write(reg::kTccr3A, 0xC0)
                          .write(0x92, 0x80) // FOC3A
                          .write(reg::kDdrE, 0x18)
                          .write(reg::kTccr3A, 0x80 | 0x30) // OC3A cleared, OC3B set at match
                          .write16(reg::kOcr3A, 29'999)
                          .write16(reg::kOcr3B, 12'345)
                          .write16(reg::kTcnt3, 0)
                          .write(reg::kTccr3B, 0x01)
                          .start_timer1(0)
                          .write(reg::kTccr3A, 0xC0 | 0x20, 50, 0)
                          .play(recorder, 200'000);
    const auto a = recorder.of(Output::kOc3a);
    const auto b = recorder.of(Output::kOc3b);
    REQUIRE(a.size() == 3);
    REQUIRE(b.size() == 2);
    CHECK(a[0].high);
    CHECK_FALSE(a[1].high);
    CHECK(b[0].high);
    CHECK(a[1].at - b[0].at == 29'999 - 12'345);
    CHECK(a[2].high);
    CHECK(a[2].at - a[1].at == 65'536);
    CHECK_FALSE(b[1].high);
    CHECK(b[1].at - b[0].at == 65'536);
}

TEST_CASE("Timer2 in fast PWM keeps its rhythm and restarts exactly where TCNT2 is written") {
    Recorder recorder;
    // Mode 7, TOP = OCR2A = 99, OC2B high for 25 of 100; in Timer1's fourth period TCNT2 is set
    // to 90.
    const auto chip = Script()
                          .write(reg::kDdrH, 0x40)
                          .write(reg::kTccr2A, 0x23)
                          .write(reg::kOcr2A, 99)
                          .write(reg::kOcr2B, 24)
                          .write(reg::kTccr2B, 0x09)
                          .start_timer1(0)
                          .write(reg::kTcnt2, 60, 4, 0)
                          .play(recorder, 20'000);
    const auto edges = recorder.of(Output::kOc2b);
    REQUIRE(edges.size() > 100);
    std::size_t shifted = 0;
    for (std::size_t i = 2; i + 2 < edges.size(); i += 2) {
        REQUIRE(edges[i].high);
        CHECK(edges[i + 1].at - edges[i].at <= 25);
        const Cycle period = edges[i + 2].at - edges[i].at;
        shifted += period != 100;
    }
    CHECK(shifted == 1);
}

TEST_CASE("a mode the models do not have stops the run and names it") {
    Recorder recorder;
    auto chip = load_chip("script", recorder);
    const std::vector<std::uint8_t> message = {1, 0xFF, 0xFF, 0,
                                               0, 0x81, 0,    0x11}; // TCCR1B: mode 8
    chip->send_serial(message.data(), message.size());
    const auto status = chip->run_until(100'000);
    REQUIRE_FALSE(status);
    CHECK(status.error().text.find("Timer1 in a phase correct mode") != std::string::npos);
}
