// SPDX-License-Identifier: MIT
// Every cause that takes the supply off, forced at the pins of the simulated chip: how many cycles
// until K1's pin is low, what is told, and that nothing is on afterwards.
#include "tests/system/guarded_rig.hpp"
#include <algorithm>
#include <iostream>

using namespace yokedock;
using namespace yokedock::test;
using Cause = wire::StopCause;

namespace {

constexpr Cycle kComparatorCycles = 800; ///< 50 us
constexpr Cycle kReadingCycles = 16000;  ///< 1 ms
constexpr Cycle kMs = 16000;

struct Case {
    const char* what;
    Cause cause;
    Cycle most;
    std::function<void(GuardedRig&)> force;
    int trials;
};

std::function<void(GuardedRig&)> code(ChannelId id, int value) {
    return [id, value](GuardedRig& r) { r.live[static_cast<std::size_t>(id)] = value; };
}

const std::vector<Case>& cases() {
    const auto pin = [](std::uint8_t bit) {
        return [bit](GuardedRig& r) { r.rig.chip().set_pin('D', bit, true); };
    };
    // The swing of a load current is judged over 60 ms, of which a part may lie before the cause;
    // retrace pulses must be missing for longer than limits().retrace_ms; the host for 2 s. To each
    // comes the main loop's millisecond and what holds it up.
    static const std::vector<Case> all = {
        {"over-current comparator", Cause::over_current, kComparatorCycles, pin(0), 20},
        {"stop button", Cause::stop_button, kComparatorCycles, pin(1), 20},
        {"supply high", Cause::supply_high, kReadingCycles, code(ChannelId::supply_v, 451), 6},
        {"supply low", Cause::supply_low, kReadingCycles, code(ChannelId::supply_v, 349), 6},
        {"supply current", Cause::supply_current, kReadingCycles, code(ChannelId::supply_a, 501),
         6},
        {"output high", Cause::output_high, kReadingCycles, code(ChannelId::v_out_v, 951), 6},
        {"output low", Cause::output_low, kReadingCycles, code(ChannelId::v_out_v, 49), 6},
        {"retrace peak", Cause::retrace_peak, kReadingCycles, code(ChannelId::h_peak_v, 701), 6},
        {"heat sink hot", Cause::heatsink, kReadingCycles, code(ChannelId::heatsink_c, 199), 6},
        {"heat sink open", Cause::heatsink_sensor, kReadingCycles,
         code(ChannelId::heatsink_c, 1001), 6},
        {"vertical current", Cause::load_current, kReadingCycles, code(ChannelId::v_yoke_a, 801),
         6},
        {"line current", Cause::load_current, kReadingCycles, code(ChannelId::h_yoke_a, 801), 6},
        {"load lost", Cause::load_lost, 122 * kMs, [](GuardedRig& r) { r.swing = false; }, 2},
        {"no field retrace", Cause::field_retrace_missing, (17 + 25 + 3) * kMs,
         [](GuardedRig& r) { r.field_pulses = false; }, 2},
        {"no line retrace", Cause::line_retrace_missing, (25 + 3) * kMs,
         [](GuardedRig& r) { r.line_pulses = false; }, 2},
        {"host silent", Cause::host_silent, 2003 * kMs, [](GuardedRig&) {}, 1},
    };
    return all;
}

void release(GuardedRig& r) {
    r.rig.chip().set_pin('D', 0, false);
    r.rig.chip().set_pin('D', 1, false);
    r.live = {512, 512, 400, 300, 400, 500, 600, 512};
    r.swing = r.field_pulses = r.line_pulses = true;
}

/// Trips a live bench; cycles from the cause to K1's pin.
Cycle trip(GuardedRig& r, const Case& c, Cycle phase) {
    r.to_live(GuardedRig::limits());
    r.rig.run_for(phase);
    const Cycle begin = r.rig.chip().now();
    c.force(r);
    r.rig.run_for(std::min<Cycle>(c.most, 4000 * kMs));
    for (int i = 0; i < 20 && r.on(); ++i) { // later than it may be: see by how much
        r.rig.run_for(kMs);
    }
    REQUIRE_FALSE(r.on());
    return r.supply_off_at - begin;
}

} // namespace

TEST_CASE("every cause takes the supply relay's pin low in time, is told, and leaves nothing on") {
    GuardedRig r;
    r.sync(sync::kStandards[0].settings);
    std::cout << "cycles from the cause to K1's pin (16 per us):\n";
    for (const Case& c : cases()) {
        Cycle worst = 0;
        for (int n = 0; n < c.trials; ++n) {
            const Cycle took = trip(r, c, static_cast<Cycle>(n) * 1237 % 7919);
            worst = std::max(worst, took);
            const auto told = r.rig.ask<wire::requests::power>();
            CHECK(told.cause == static_cast<std::uint8_t>(c.cause));
            CHECK(told.state == static_cast<std::uint8_t>(wire::BenchState::tripped));
            r.ms(600);
            CHECK(r.relays == 0);
            release(r);
            r.ms(20);
            CHECK(r.relays == 0); // the cause is gone: nothing comes back by itself
        }
        std::cout << "  " << c.what << ": " << worst << " of " << c.most << ", " << c.trials
                  << " trials\n";
        INFO(c.what);
        CHECK(worst <= c.most);
    }
    CHECK(r.broken.empty());
}

// The watchdog's time is 32768 cycles of its own oscillator of 128 kHz: 256 ms at the most from the
// main loop's last look (ATmega2560 data sheet, "Watchdog Timer"; on silicon the oscillator is off
// by some per cent). Reset and pins at rest are the simulator's, what follows the firmware's own.
constexpr Cycle kWatchdogCycles = 32768 / 128 * kMs;

TEST_CASE("a firmware that hangs is reset by the watchdog, everything off at once and for good") {
    std::cout << "cycles from the hang to the reset and to the last pin low:\n";
    // In the main loop or asleep, and in a handler with interrupts off.
    const std::pair<Cycle, bool> cases[] = {
        {0, false}, {777, false}, {5003, false}, {0, true}, {5003, true}};
    for (const auto& [phase, interrupts_off] : cases) {
        GuardedRig r;
        std::vector<Cycle> resets;
        r.rig.on_reset = [&](Cycle at) { resets.push_back(at); };
        Cycle last_low = 0; // of relays and drives
        std::uint8_t relays_after = 0;
        const auto inner = r.rig.on_port;
        r.rig.on_port = [&](char port, Cycle at, std::uint8_t driven) {
            inner(port, at, driven);
            if (port == 'A' && !r.on() && last_low == 0) {
                last_low = driven == 0 ? at : 0;
            }
            if (port == 'A' && !resets.empty()) {
                relays_after = static_cast<std::uint8_t>(relays_after | driven);
            }
        };
        r.sync(sync::kStandards[0].settings);
        r.to_live(GuardedRig::limits());
        r.broken.clear();
        last_low = 0;
        r.rig.run_for(phase);
        while (interrupts_off && r.rig.chip().interrupts_enabled()) {
            r.rig.run_for(1);
        }
        const Cycle begin = r.rig.chip().now();
        r.rig.chip().hang();
        r.ms(200);
        CHECK(r.on()); // it is the watchdog that does it
        r.ms(60);
        REQUIRE(resets.size() == 1);
        CAPTURE(phase, interrupts_off, resets[0] - begin);
        CHECK_FALSE(r.on());
        CHECK(resets[0] - begin <= kWatchdogCycles);
        CHECK(last_low != 0);
        CHECK(last_low - begin <= kWatchdogCycles);
        CHECK(r.relays == 0);
        CHECK_FALSE(r.drive);
        std::cout << "  " << resets[0] - begin << ", " << last_low - begin << " of "
                  << kWatchdogCycles << "\n";

        r.ms(600);
        const auto told = r.rig.ask<wire::requests::power>();
        CHECK(told.state == static_cast<std::uint8_t>(wire::BenchState::tripped));
        CHECK(told.cause == static_cast<std::uint8_t>(Cause::watchdog));
        wire::IdentifyRequest identify;
        CHECK(r.rig.ask<wire::requests::identify>(identify).reset_cause ==
              static_cast<std::uint8_t>(wire::ResetCause::watchdog_reset));
        // Nothing comes on before the trip is acknowledged, and it runs again then.
        const auto refused =
            r.rig.try_ask(wire::MessageKind::power_on,
                          wire::PowerStage{static_cast<std::uint8_t>(wire::BenchState::checked)});
        CHECK(static_cast<int>(refused.kind) !=
              static_cast<int>(wire::answer_to(wire::MessageKind::power_on)));
        r.ms(600);
        CHECK(relays_after == 0);
        CHECK(resets.size() == 1);
        r.sync(sync::kStandards[0].settings);
        r.to_live(GuardedRig::limits());
    }
}

TEST_CASE("a firmware that hangs in a load step is reset, the drive off") {
    GuardedRig r;
    std::vector<Cycle> resets;
    r.rig.on_reset = [&](Cycle at) { resets.push_back(at); };
    r.sync(sync::kStandards[0].settings);
    r.rig.ask<wire::requests::step_load>(wire::StepSettings{1, 1600000, 40000, 50, 1000});
    r.ms(40);
    REQUIRE(r.drive);
    r.rig.chip().hang();
    r.ms(256);
    CHECK(resets.size() == 1);
    CHECK_FALSE(r.drive);
    CHECK(r.relays == 0);
    r.ms(600);
    CHECK_FALSE(r.drive);
    CHECK(r.relays == 0);
}

TEST_CASE("the samples around a trip can be read afterwards") {
    GuardedRig r;
    r.sync(sync::kStandards[0].settings);
    trip(r, cases()[2], 0); // supply high
    r.ms(20);
    std::vector<std::pair<std::uint32_t, int>> rail; // time, code
    r.rig.on_frame = [&](const AnswerFrame& frame) {
        if (frame.kind != wire::MessageKind::block) {
            return;
        }
        wire::BlockHead head;
        const std::size_t size = wire::wire_size<wire::BlockHead>();
        REQUIRE(wire::read_fields(head, frame.payload.data(), size));
        wire::ReadVisitor in(frame.payload.data() + size, frame.payload.size() - size);
        for (unsigned i = 0; head.kind == 1 && i < head.count; ++i) {
            std::uint32_t word = 0;
            in.field("", "", word);
            if (((word >> 10) & 7) == static_cast<unsigned>(ChannelId::supply_v)) {
                rail.emplace_back(head.base_time + (word >> 13), static_cast<int>(word & 1023));
            }
        }
    };
    const auto told = r.rig.ask<wire::requests::power>();
    const auto answer = r.rig.ask<wire::requests::read_blocks>({0, 40, 0});
    CHECK(answer.sent >= 15);
    REQUIRE(rail.size() > 60);
    const auto bad =
        std::find_if(rail.begin(), rail.end(), [](auto& s) { return s.second == 451; });
    REQUIRE(bad != rail.end());
    CHECK(bad - rail.begin() > 40); // before it: 40 readings of the rail, some 20 ms
    CHECK((bad - 1)->second == 400);
    CHECK(rail.back().second == 0); // after it: the rail gone
    // The trip's time is the main loop's: within 2 ms of the reading.
    CHECK(static_cast<std::int32_t>(told.trip_time - bad->first) >= 0);
    CHECK(static_cast<std::int32_t>(told.trip_time - bad->first) < 32000);
    // Sampling went on for kAfterTripMs.
    const auto after = static_cast<std::int32_t>(rail.back().first - told.trip_time);
    CHECK(after > 8 * 16000);
    CHECK(after < 13 * 16000);
}
