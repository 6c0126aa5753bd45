// SPDX-License-Identifier: MIT
// The way the firmware makes sync: Timer1 reprogrammed in every overflow.
#include "tests/unit/chip/recorder.hpp"

using namespace yokedock::sim;

TEST_CASE("reprogramming every period at a fractional rate puts every edge at its exact cycle") {
    Recorder recorder;
    auto chip = load_chip("slots", recorder);
    run_to(*chip, 16'000'000 / 10);
    const auto edges = recorder.of(Output::kOc1a);
    REQUIRE(edges.size() > 6000);
    REQUIRE(recorder.ordered);

    // The pin is low from reset, so the first edge is the end of slot 0's pulse, 40 cycles into it.
    // The image adds the fraction before it sets the period, so slot n starts floor(n (508 +
    // 64/143)) after slot 0.
    const Cycle origin = edges[0].at - 40;
    std::size_t wrong = 0;
    for (std::size_t i = 0; i < edges.size(); ++i) {
        const std::size_t n = (i + 1) / 2;
        const Cycle start = origin + 508 * n + (64 * n) / 143;
        const Cycle width =
            n % 2 == 0 ? 40 : 76; // the width written in a slot is used in the next one
        const bool rising = i % 2 == 0;
        wrong += edges[i] != OutputChange{Output::kOc1a, rising ? start + width : start, rising};
    }
    CHECK(wrong == 0); // no tolerance: the model is exact or broken
}

TEST_CASE("the time from overflow to handler contains entry, wake-up and one instruction at most") {
    Recorder recorder;
    auto chip = load_chip("slots", recorder);
    run_to(*chip, 1'000'000);
    const ChipStatistics statistics = chip->statistics();
    // Data sheet: 5 cycles with a 22-bit program counter and 5 more out of sleep. The image is
    // asleep or within the loop around SLEEP (no instruction over 2 cycles) when the overflow
    // comes.
    CHECK(statistics.longest_overflow_to_entry >= 10);
    CHECK(statistics.longest_overflow_to_entry <= 12);
    CHECK(statistics.longest_overflow_to_return > statistics.longest_overflow_to_entry + 20);
    CHECK(statistics.longest_overflow_to_return < 508);
    CHECK(statistics.overflows_merged == 0);
    CHECK(statistics.top_missed == 0);
    CHECK(statistics.asleep_cycles > 500'000);
}

TEST_CASE("the same image gives the same edges in every run and however the run is cut") {
    Recorder whole;
    Recorder cut;
    auto one = load_chip("slots", whole);
    auto other = load_chip("slots", cut);
    run_to(*one, 200'000);
    for (Cycle t = 0; t < 200'000; t += 37) {
        run_to(*other, t);
    }
    run_to(*other, 200'000);
    CHECK(whole.outputs == cut.outputs);
}

TEST_CASE("an image that is not one is refused with its path and the cure") {
    Recorder recorder;
    const auto missing = Chip::load("/nonexistent/firmware.elf", recorder);
    REQUIRE_FALSE(missing);
    CHECK(missing.error().kind == yokedock::ErrorKind::kFile);
    CHECK(missing.error().text.find("/nonexistent/firmware.elf") != std::string::npos);
    const auto host_program = Chip::load("/proc/self/exe", recorder);
    REQUIRE_FALSE(host_program);
    CHECK(host_program.error().text.find("not for AVR") != std::string::npos);
}
