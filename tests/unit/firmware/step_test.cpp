// SPDX-License-Identifier: MIT
// The load step: only while the supply is off, every edge in its place, everything off afterwards
// and whenever something is wrong.
#include "tests/unit/firmware/device_fixture.hpp"

using namespace yokedock;
using namespace yokedock::firmware;

namespace {

using Kind = wire::MessageKind;
using Reason = wire::RefusalReason;
using State = wire::StepState;

constexpr std::uint32_t kMs = 16000;

struct Stepped : Bench {
    std::uint8_t number = 0;
    wire::StepSettings settings{1, 40000, 160000, 5, 20};

    Answer ask_step() { return Bench::ask(Kind::step_load, ++number, settings); }
    std::uint32_t begin() {
        const Answer answer = ask_step();
        REQUIRE(answer.kind == wire::answer_to(Kind::step_load));
        return read<wire::StepStarted>(answer).first_edge;
    }
    wire::PowerAnswer power() {
        return read<wire::PowerAnswer>(Bench::ask_payload(Kind::power, ++number, {}));
    }
    /// In rounds of the main loop of so many ticks.
    void pass(std::uint32_t ticks, std::uint32_t round = 1000) {
        for (std::uint32_t gone = 0; gone < ticks; gone += round) {
            hardware.time += round;
            device.poll();
            rule();
        }
    }
    /// The drive is on only with K5 closed, the loads at rest and K1 open.
    void rule() {
        if (hardware.drive.on(hardware.time)) {
            REQUIRE((hardware.relays & kRelayStep) != 0);
            REQUIRE((hardware.relays & (kRelayLoads | kRelaySupply)) == 0);
        }
    }
};

} // namespace

TEST_CASE("a load step's edges stand at first_edge + n periods, and all is off afterwards") {
    for (const std::uint32_t start : {0u, 0xFFFFF000u, 12345u}) {
        for (const std::uint32_t on : {wire::kMinStepTicks, 65536u, 70001u, wire::kMaxStepTicks}) {
            Stepped b;
            b.hardware.time = start;
            b.device.begin();
            b.settings.on_ticks = on;
            b.settings.load = 2;
            const std::uint32_t first = b.begin();
            CHECK(first - b.hardware.time == kContactMs * kMs);
            CHECK(b.hardware.relays == kRelayStep);
            CHECK(b.power().step == static_cast<std::uint8_t>(State::closing));
            b.pass(kContactMs * kMs + 10000);
            CHECK(b.power().step == static_cast<std::uint8_t>(State::running));
            for (int i = 0; i < 20; ++i) { // the host is heard
                b.pass((on + 160000) / 4);
                b.power();
            }
            CHECK(b.hardware.drive_horizontal);
            const auto& edges = b.hardware.drive.edges;
            REQUIRE(edges.size() == 10);
            for (std::uint32_t n = 0; n < 5; ++n) {
                CHECK(edges[2 * n] == std::make_pair(first + n * (on + 160000), true));
                CHECK(edges[2 * n + 1] == std::make_pair(first + n * (on + 160000) + on, false));
            }
            CHECK_FALSE(b.hardware.drive.on(b.hardware.time));
            CHECK(b.power().step == static_cast<std::uint8_t>(State::done));
            CHECK(b.power().step_periods == 5);
            b.pass(kStepHoldMs * kMs + 20000);
            CHECK(b.hardware.relays == 0);
            CHECK(b.power().cause == 0);
        }
    }
}

TEST_CASE("a load step is refused with what stands against it") {
    Stepped b;
    const auto refused_field = [&](auto change) {
        Stepped other;
        change(other.settings);
        const Answer answer = other.ask_step();
        return answer.kind == Kind::refused
                   ? static_cast<int>(read<wire::RefusedAnswer>(answer).detail)
                   : -1;
    };
    CHECK(refused_field([](auto& s) { s.load = 3; }) == 0);
    CHECK(refused_field([](auto& s) { s.on_ticks = wire::kMinStepTicks - 1; }) == 1);
    CHECK(refused_field([](auto& s) { s.off_ticks = wire::kMaxStepTicks + 1; }) == 2);
    CHECK(refused_field([](auto& s) { s.periods = 0; }) == 3);
    CHECK(refused_field([](auto& s) { s.periods = 801; }) == 3); // 200000 ticks each: over 10 s
    CHECK(refused_field([](auto& s) { s.periods = 800; }) == -1);
    CHECK(refused_field([](auto& s) { s.rail_off = 1024; }) == 4);
    const auto not_ready = [&](wire::StopCause cause) {
        check_refused(b.ask_step(), Kind::step_load, Reason::not_ready,
                      static_cast<std::uint32_t>(cause));
    };
    b.hardware.code[static_cast<std::size_t>(ChannelId::supply_v)] = 20;
    not_ready(wire::StopCause::rail_on);
    b.hardware.code[static_cast<std::size_t>(ChannelId::supply_v)] = 0;
    b.hardware.stop = true;
    not_ready(wire::StopCause::stop_button);
    b.hardware.stop = false;
    b.begin();
    not_ready(wire::StopCause::relays_settling); // one is on its way
    CHECK(b.hardware.drive.edges.empty());
}

TEST_CASE("stop button, silence, power_off and a late main loop end a load step, drive first") {
    struct Case {
        const char* what;
        std::function<void(Stepped&)> act;
        wire::StopCause cause;
    };
    const Case cases[] = {
        {"stop", [](Stepped& b) { b.hardware.stop = true; }, wire::StopCause::stop_button},
        {"over-current", [](Stepped& b) { b.hardware.current = true; },
         wire::StopCause::over_current},
        {"silence", [](Stepped& b) { b.pass((kSilenceLimitMs + 10) * kMs); },
         wire::StopCause::host_silent},
        {"off", [](Stepped& b) { b.ask_payload(Kind::power_off, ++b.number, {}); },
         wire::StopCause::none},
        {"late", [](Stepped& b) { b.hardware.time += 500000; }, wire::StopCause::step_late},
    };
    for (const Case& c : cases) {
        INFO(c.what);
        Stepped b;
        b.settings.periods = 700;
        std::vector<std::uint8_t> moves;
        b.hardware.on_relays = [&](std::uint8_t before, std::uint8_t after) {
            if (before != after) {
                CHECK_FALSE(b.hardware.drive.on(b.hardware.time));
                moves.push_back(after);
            }
        };
        b.begin();
        b.pass(40 * kMs);
        b.power();
        REQUIRE(b.power().step == static_cast<std::uint8_t>(State::running));
        c.act(b);
        b.device.poll();
        CHECK_FALSE(b.hardware.drive.on(b.hardware.time));
        CHECK(b.power().step == static_cast<std::uint8_t>(State::stopped));
        CHECK(b.power().cause == static_cast<std::uint8_t>(c.cause));
        const std::size_t edges = b.hardware.drive.edges.size();
        b.pass(2 * kStepHoldMs * kMs);
        CHECK(b.hardware.relays == 0);
        CHECK(b.hardware.drive.edges.size() == edges);
        CHECK(moves == std::vector<std::uint8_t>{kRelayStep, 0});
    }
}
