// SPDX-License-Identifier: MIT
// Input capture, ADC, serial line, watchdog.
#include "tests/unit/chip/recorder.hpp"
#include <algorithm>
#include <random>

using namespace yokedock::sim;

namespace {

struct Stamp {
    bool rising;
    unsigned value;
};

std::vector<Stamp> stamps_of(const std::vector<std::uint8_t>& bytes, char timer) {
    std::vector<Stamp> found;
    for (std::size_t i = 1; i + 2 < bytes.size(); i += 3) { // byte 0 is 'r'
        if ((bytes[i] & 0x7F) == timer) {
            found.push_back({(bytes[i] & 0x80) != 0, bytes[i + 1] | unsigned{bytes[i + 2]} << 8});
        }
    }
    return found;
}

} // namespace

TEST_CASE("capture stamps both edges of both inputs to the cycle") {
    Recorder recorder;
    auto chip = load_chip("capture", recorder);
    run_to(*chip, 20'000);
    REQUIRE(recorder.bytes.size() == 1);
    std::mt19937 random(1);
    // At least 300 cycles apart: the handler that turns the edge select takes less; 1000 on average
    // leaves the serial line (480 cycles per stamp) time.
    std::uniform_int_distribution<Cycle> gap(300, 2500);
    std::vector<Cycle> line;
    std::vector<Cycle> field;
    for (Cycle t = 25'000; line.size() < 400; t += gap(random)) {
        chip->capture_edge(CaptureInput::kIcp4, t, line.size() % 2 == 0);
        line.push_back(t);
    }
    for (Cycle t = 25'003; field.size() < 40; t += 10 * gap(random)) {
        chip->capture_edge(CaptureInput::kIcp5, t, field.size() % 2 == 0);
        field.push_back(t);
    }
    run_to(*chip, std::max(line.back(), field.back()) + 100'000);
    const auto line_stamps = stamps_of(recorder.bytes, '4');
    const auto field_stamps = stamps_of(recorder.bytes, '5');
    REQUIRE(line_stamps.size() == line.size());
    REQUIRE(field_stamps.size() == field.size());
    for (std::size_t i = 0; i < line.size(); ++i) { // exact: the timers run from two fixed origins
        CHECK(line_stamps[i].rising == (i % 2 == 0));
        CHECK(((line_stamps[i].value - line_stamps[0].value) & 0xFFFFu) ==
              ((line[i] - line[0]) & 0xFFFFu));
    }
    for (std::size_t i = 0; i < field.size(); ++i) {
        CHECK(((field_stamps[i].value - field_stamps[0].value) & 0xFFFFu) ==
              ((field[i] - field[0]) & 0xFFFFu));
    }
    // Both timers were started 2 cycles after one another by adjacent stores, whatever their
    // origin.
    const unsigned origin4 = static_cast<unsigned>(line[0]) - line_stamps[0].value;
    const unsigned origin5 = static_cast<unsigned>(field[0]) - field_stamps[0].value;
    CHECK(((origin5 - origin4) & 0xFFFFu) <= 4);
}

TEST_CASE("a triggered sample is held two ADC clocks after the compare match and its code arrives "
          "unchanged") {
    const int exponent = GENERATE(4, 5, 6, 7);
    Recorder recorder;
    auto chip = load_chip("adc", recorder);
    const auto byte = static_cast<std::uint8_t>(exponent);
    chip->send_serial(&byte, 1);
    run_to(*chip, 2'000'000);
    const Cycle clock = Cycle{1} << exponent;
    // OC1B falls with the match that triggers; at the very first one, 2500 before the next, it is
    // still low.
    std::vector<Cycle> matches = {0};
    for (const OutputChange& edge : recorder.of(Output::kOc1b)) {
        if (!edge.high) {
            matches.push_back(edge.at);
        }
    }
    matches[0] = matches[1] - 2500;
    // Sample 0 is the conversion that the image starts itself.
    REQUIRE(recorder.samples.size() > 700);
    REQUIRE(matches.size() + 1 >= recorder.samples.size());
    std::size_t late = 0;
    std::size_t wrong_channel = 0;
    for (std::size_t i = 1; i < recorder.samples.size(); ++i) {
        late += recorder.samples[i].at != matches[i - 1] + 2 * clock;
        wrong_channel += recorder.samples[i].channel != (i - 1) % 8;
    }
    CHECK(late == 0);
    CHECK(wrong_channel == 0);
    // Results: 13.5 ADC clocks after the trigger; the pin toggles some tens of cycles into the
    // handler.
    std::vector<Cycle> toggles;
    for (const PortChange& change : recorder.ports) {
        if (change.port == 'A') {
            toggles.push_back(change.at);
        }
    }
    REQUIRE(toggles.size() + 2 >= recorder.samples.size());
    for (std::size_t i = 0; i + 1 < toggles.size(); ++i) {
        const Cycle after = toggles[i] - matches[i];
        CHECK(after >= 27 * clock / 2 + 5);
        CHECK(after <= 27 * clock / 2 +
                           80); // serial_put may be interrupted anywhere; COMPB's handler is far
    }
    for (std::size_t i = 0; 2 * i + 1 < recorder.bytes.size(); ++i) {
        const int code = recorder.bytes[2 * i] | recorder.bytes[2 * i + 1] << 8;
        CHECK(code == recorder.samples[i + 1].code);
    }
    CHECK(chip->statistics().adc_results_lost == 0);
}

TEST_CASE("a hundred kilobytes go both ways at once, every byte and in order") {
    Recorder recorder;
    auto chip = load_chip("echo", recorder);
    std::mt19937 random(7);
    std::vector<std::uint8_t> sent(100'000);
    for (auto& byte : sent) {
        byte = static_cast<std::uint8_t>(random());
    }
    chip->send_serial(sent.data(), sent.size());
    run_to(*chip, 1000 + 160 * (sent.size() + 40));
    CHECK(recorder.bytes == sent);
    CHECK(chip->serial_backlog() == 0);
    CHECK(chip->statistics().serial_overruns ==
          0); // an interrupt-driven echo keeps up with 1 Mbaud
    // 8N1 at 1 Mbaud: 10 bits of 16 cycles. Bytes may not leave closer than that.
    Cycle closest = kNeverCycle;
    for (std::size_t i = 1; i < recorder.byte_times.size(); ++i) {
        closest = std::min(closest, recorder.byte_times[i] - recorder.byte_times[i - 1]);
    }
    CHECK(closest >=
          150); // transmission starts with the write, which wanders by the handler's latency
}

TEST_CASE("the watchdog resets a hung chip, outputs fall, and timers and serial line work again") {
    Recorder recorder;
    auto chip = load_chip("watchdog", recorder);
    const std::uint8_t hang[] = {'p', 'h'};
    chip->send_serial(hang, 2);
    run_to(*chip, 1'000'000); // 62 ms; the watchdog bites 15 to 16 ms after the last reset of it
    REQUIRE(recorder.resets.size() == 1);
    REQUIRE(recorder.bytes.size() == 3);
    CHECK(recorder.bytes[0] == 0x01); // PORF
    CHECK(recorder.bytes[1] == 'p');
    CHECK(recorder.bytes[2] == 0x08); // WDRF
    const Cycle reset = recorder.resets[0];
    CHECK(reset > 240'000 - 2000); // 15 ms nominal
    CHECK(reset < 300'000);
    bool fell = false;
    for (const PortChange& change : recorder.ports) {
        fell = fell || (change.port == 'A' && change.at == reset && change.driven_high == 0);
    }
    CHECK(fell);
    std::vector<OutputChange> again;
    for (const OutputChange& edge : recorder.of(Output::kOc1a)) {
        if (edge.at > reset) {
            again.push_back(edge);
        }
    }
    REQUIRE(again.size() > 100);
    CHECK(again[2].at - again[0].at == 1000);
    CHECK(again[1].at - again[0].at == 250);
    const std::uint8_t ping = 'p';
    chip->send_serial(&ping, 1);
    run_to(*chip, chip->now() + 10'000);
    CHECK(recorder.bytes.back() == 'p');
}

TEST_CASE("an alarm comes at its cycle and one set from an alarm follows") {
    Recorder recorder;
    auto chip = load_chip("slots", recorder);
    Chip* raw = chip.get();
    recorder.on_alarm = [raw](Cycle at) { raw->set_alarm(at + 100); };
    chip->set_alarm(1000);
    run_to(*chip, 50'000);
    REQUIRE(recorder.alarms.size() > 480);
    for (std::size_t i = 0; i < recorder.alarms.size(); ++i) {
        CHECK(recorder.alarms[i] == 1000 + 100 * i);
    }
    CHECK(recorder.ordered);
}
