// SPDX-License-Identifier: MIT
// The supply and its guard: every way up, every way down, and that no sequence of requests,
// readings, silence and resets closes a relay that must be open.
#include "tests/unit/firmware/device_fixture.hpp"
#include <memory>
#include <random>

using namespace yokedock;
using namespace yokedock::firmware;

namespace {

using Kind = wire::MessageKind;
using Reason = wire::RefusalReason;
using State = wire::BenchState;
using Cause = wire::StopCause;

constexpr std::uint32_t kMsTicks = 16000;

std::size_t at(ChannelId id) {
    return static_cast<std::size_t>(id);
}

/// Codes of an imagined board: rail 400, current 300, output 100 to 900.
wire::GuardLimits limits() {
    wire::GuardLimits l;
    for (int i = 0; i < wire::kGuardChannels; ++i) {
        l.high[i] = l.start_high[i] = kAdcCodes - 1;
    }
    l.low[at(ChannelId::supply_v)] = 350;
    l.high[at(ChannelId::supply_v)] = l.start_high[at(ChannelId::supply_v)] = 450;
    l.high[at(ChannelId::supply_a)] = 500;
    l.start_high[at(ChannelId::supply_a)] = 400;
    l.low[at(ChannelId::v_out_v)] = 50;
    l.high[at(ChannelId::v_out_v)] = 950;
    l.high[at(ChannelId::h_peak_v)] = 700;
    l.low[at(ChannelId::heatsink_c)] = 200;
    l.high[at(ChannelId::heatsink_c)] = 1000;
    l.span[0] = 100;
    l.rail_up = 360;
    l.rail_off = 20;
    l.reference_low = 505;
    l.reference_high = 519;
    l.start_ms = 2000;
    l.settle_ms = 500;
    l.retrace_ms = 100;
    l.strikes = 2;
    l.loads = 3;
    l.watch = 3;
    return l;
}

/// A bench whose readings and retrace edges go on by themselves while time passes.
struct Guarded : Bench {
    bool edges_run = true;
    bool swing = true;
    int tick = 0;

    std::uint8_t number = 0; ///< every request is a new one

    template <class Request> Answer ask(Kind kind, const Request& request) {
        return Bench::ask(kind, ++number, request);
    }
    Answer ask_payload(Kind kind, const std::vector<std::uint8_t>& payload = {}) {
        return Bench::ask_payload(kind, ++number, payload);
    }
    /// As a reset does it: the pins are off before the firmware runs, and it knows nothing.
    void reset() {
        hardware.on_relays = nullptr;
        hardware.set_relays(0);
        hardware.drive.off();
        hardware.guard() = Guard{};
        hardware.sampling = false;
        hardware.pool().reset();
        hardware.input.clear();
        std::destroy_at(&device);
        std::construct_at(&device, hardware);
        device.begin();
    }
    Answer power_on(State stage) {
        return ask(Kind::power_on, wire::PowerStage{static_cast<std::uint8_t>(stage)});
    }
    /// The stage that comes next.
    Answer power_on() { return power_on(static_cast<State>(static_cast<int>(state()) + 1)); }

    Guarded() {
        hardware.code = {512, 512, 0, 0, 100, 0, 600, 512};
        hardware.relays = 0;
    }
    void board_on(bool on) {
        hardware.code[at(ChannelId::supply_v)] = on ? 400 : 0;
        hardware.code[at(ChannelId::supply_a)] = on ? 300 : 0;
        hardware.code[at(ChannelId::v_out_v)] = on ? 400 : 100;
        hardware.code[at(ChannelId::h_peak_v)] = on ? 500 : 0;
    }
    /// Milliseconds pass; the host is heard every 100.
    void pass(int ms, bool heard = true) {
        for (int i = 0; i < ms; ++i) {
            hardware.time += kMsTicks;
            ++tick;
            hardware.code[0] = static_cast<std::uint16_t>(swing ? 512 + 100 * (tick % 3 - 1) : 512);
            hardware.code[1] = hardware.code[0];
            for (std::uint8_t c = 0; c < 8; ++c) {
                hardware.sample(static_cast<ChannelId>(c));
            }
            if (edges_run) {
                hardware.edges[0] += tick % 16 == 0 ? 1U : 0U;
                hardware.edges[1] += 15;
            }
            if (heard && i % 100 == 0) {
                send_payload(Kind::status, ++number, {});
            }
            answers();
        }
    }
    State state() const { return device.bench().state(); }
    Cause cause() const { return device.bench().cause(); }

    void to_checked() {
        ask(Kind::set_guard, limits());
        REQUIRE(power_on().kind == wire::answer_to(Kind::power_on));
        REQUIRE(state() == State::checked);
        pass(50);
    }
    void to_starting() {
        to_checked();
        REQUIRE(power_on().kind == wire::answer_to(Kind::power_on));
        REQUIRE(state() == State::starting);
        board_on(true);
        pass(100);
    }
    void to_live() {
        to_starting();
        REQUIRE(power_on().kind == wire::answer_to(Kind::power_on));
        REQUIRE(state() == State::live);
        pass(600); // settled
        REQUIRE(state() == State::live);
    }
    void check_not_ready(Cause cause) {
        check_refused(power_on(), Kind::power_on, Reason::not_ready,
                      static_cast<std::uint32_t>(cause));
    }
};

} // namespace

TEST_CASE("loads, supply, bypass on the way up; supply and bypass first on the way down") {
    Guarded b;
    std::vector<std::uint8_t> seen;
    b.hardware.on_relays = [&](std::uint8_t before, std::uint8_t after) {
        if (before != after) {
            seen.push_back(after);
        }
    };
    b.to_live();
    b.ask_payload(Kind::power_off);
    CHECK(b.state() == State::idle);
    CHECK(b.cause() == Cause::asked);
    b.board_on(false);
    b.pass(kHoldMs - 10);
    CHECK(b.hardware.relays == kRelayLoads); // the board still runs down
    b.pass(20);
    CHECK(b.hardware.relays == 0);
    CHECK(seen == std::vector<std::uint8_t>{kRelayLoads, kRelayLoads | kRelaySupply,
                                            kRelayLoads | kRelaySupply | kRelayBypass, kRelayLoads,
                                            0});
}

TEST_CASE("a check is refused with what stands against it, and nothing moves") {
    Guarded b;
    b.check_not_ready(Cause::no_limits);
    b.ask(Kind::set_guard, limits());
    b.hardware.stop = true;
    b.check_not_ready(Cause::stop_button);
    b.hardware.stop = false;
    b.hardware.current = true;
    b.check_not_ready(Cause::over_current);
    b.hardware.current = false;
    b.hardware.code[at(ChannelId::ref_v)] = 530;
    b.check_not_ready(Cause::reference);
    b.hardware.code[at(ChannelId::ref_v)] = 512;
    b.hardware.code[at(ChannelId::supply_v)] = 25;
    b.check_not_ready(Cause::rail_on);
    CHECK(b.hardware.relays == 0);
    CHECK(b.state() == State::idle);
}

TEST_CASE("too early, too late and too low a rail do not get on") {
    Guarded b;
    b.ask(Kind::set_guard, limits());
    b.power_on();
    b.check_not_ready(Cause::relays_settling);
    b.pass(50);
    b.power_on();
    REQUIRE(b.state() == State::starting);
    b.pass(100);
    b.check_not_ready(Cause::rail_not_up);
    CHECK(b.state() == State::starting);
    b.pass(2000);
    CHECK(b.state() == State::tripped);
    CHECK(b.cause() == Cause::rail_not_up);
    // A trip is acknowledged by power_off; loads are let go first.
    check_refused(b.power_on(State::checked), Kind::power_on, Reason::wrong_state,
                  static_cast<std::uint32_t>(State::tripped));
    b.ask_payload(Kind::power_off);
    CHECK(b.cause() == Cause::rail_not_up);
    b.pass(600);
    b.to_checked();
    b.pass(kCheckedMs + 10);
    CHECK(b.state() == State::idle);
    CHECK(b.cause() == Cause::check_expired);
    CHECK(b.hardware.relays == 0);
}

TEST_CASE(
    "limits with no say, or in the wrong order, are refused by field; and only idle takes them") {
    Guarded b;
    const auto refused = [&](auto change) {
        wire::GuardLimits l = limits();
        change(l);
        const Answer answer = b.ask(Kind::set_guard, l);
        REQUIRE(answer.kind == Kind::refused);
        const auto r = read<wire::RefusedAnswer>(answer);
        CHECK(r.reason == static_cast<std::uint8_t>(Reason::bad_value));
        return r.detail;
    };
    CHECK(refused([](auto& l) { l.low[2] = 900; }) == 2);
    CHECK(refused([](auto& l) { l.high[5] = 1024; }) == 13);
    CHECK(refused([](auto& l) { l.high[2] = 1023; }) == 10); // a rail must have a limit
    CHECK(refused([](auto& l) { l.high[3] = 1023; }) == 11);
    CHECK(refused([](auto& l) { l.start_high[3] = 1023; }) == 19);
    CHECK(refused([](auto& l) { l.strikes = 0; }) == 33);
    CHECK(refused([](auto& l) { l.strikes = 9; }) == 33);
    CHECK(refused([](auto& l) { l.start_ms = 20000; }) == 30);
    CHECK(refused([](auto& l) { l.watch = 4; }) == 35);
    b.to_checked();
    check_refused(b.ask(Kind::set_guard, limits()), Kind::set_guard, Reason::wrong_state,
                  static_cast<std::uint32_t>(State::checked));
}

TEST_CASE("every cause trips, is kept and told, and takes the supply off at once") {
    struct Case {
        Cause cause;
        std::function<void(Guarded&)> act;
        int most_ms;
    };
    const auto code = [](ChannelId id, std::uint16_t value) {
        return [id, value](Guarded& b) { b.hardware.code[at(id)] = value; };
    };
    // Readings: strikes of 2 at one per millisecond here; a main-loop round.
    const Case cases[] = {
        {Cause::supply_high, code(ChannelId::supply_v, 451), 2},
        {Cause::supply_low, code(ChannelId::supply_v, 349), 2},
        {Cause::supply_current, code(ChannelId::supply_a, 501), 2},
        {Cause::output_high, code(ChannelId::v_out_v, 951), 2},
        {Cause::output_low, code(ChannelId::v_out_v, 49), 2},
        {Cause::retrace_peak, code(ChannelId::h_peak_v, 701), 2},
        {Cause::heatsink, code(ChannelId::heatsink_c, 199), 2},
        {Cause::heatsink_sensor, code(ChannelId::heatsink_c, 1001), 2},
        {Cause::load_lost, [](Guarded& b) { b.swing = false; }, 2 * Guard::kSpanMs},
        {Cause::field_retrace_missing, [](Guarded& b) { b.edges_run = false; }, 102},
        {Cause::stop_button, [](Guarded& b) { b.hardware.stop = true; }, 1},
        {Cause::over_current, [](Guarded& b) { b.hardware.current = true; }, 1},
    };
    for (const Case& c : cases) {
        Guarded b;
        b.to_live();
        c.act(b);
        int ms = 0;
        while (b.state() == State::live && ms < 1000) {
            b.pass(1);
            ++ms;
        }
        INFO(static_cast<int>(c.cause) << " after " << ms << " ms");
        CHECK(b.state() == State::tripped);
        CHECK(b.cause() == c.cause);
        CHECK(ms <= c.most_ms);
        CHECK((b.hardware.relays & (kRelaySupply | kRelayBypass)) == 0);
        const auto power = read<wire::PowerAnswer>(b.ask_payload(Kind::power));
        CHECK(power.state == static_cast<std::uint8_t>(State::tripped));
        CHECK(power.cause == static_cast<std::uint8_t>(c.cause));
        // Sampling goes on for a little, and then stops: the samples around the trip are kept.
        const int stops = b.hardware.stops;
        b.pass(kAfterTripMs - 2);
        CHECK(b.hardware.stops == stops);
        CHECK(b.hardware.sampling);
        b.pass(5);
        CHECK(b.hardware.stops == stops + 1);
        CHECK_FALSE(b.hardware.sampling);
        b.pass(1000);
        CHECK(b.hardware.relays == 0);
    }
}

TEST_CASE("an input that opened the supply and is over keeps it off, and its cause") {
    for (const bool stop : {false, true}) {
        Guarded b;
        b.to_live();
        stop ? b.hardware.press_stop() : b.hardware.rise_current();
        CHECK((b.hardware.relays & kRelaySupply) == 0); // before the main loop knows
        b.pass(1);
        CHECK(b.state() == State::tripped);
        CHECK(b.cause() == (stop ? Cause::stop_button : Cause::over_current));
        b.ask_payload(Kind::power_off);
        b.board_on(false);
        b.pass(600);
        CHECK(b.power_on().kind == wire::answer_to(Kind::power_on)); // a check listens anew
    }
}

TEST_CASE("each stage must be named: a request for another one moves nothing") {
    Guarded b;
    b.ask(Kind::set_guard, limits());
    for (const State wrong : {State::starting, State::live}) {
        check_refused(b.power_on(wrong), Kind::power_on, Reason::wrong_state, 0);
    }
    for (const State none : {State::idle, State::tripped}) {
        check_refused(b.power_on(none), Kind::power_on, Reason::bad_value, 0);
    }
    CHECK(b.hardware.relays == 0);
}

TEST_CASE("one reading out of range is no trip, two in a row are") {
    Guarded b;
    b.to_live();
    for (int i = 0; i < 20; ++i) {
        b.hardware.code[at(ChannelId::supply_v)] = 460;
        b.pass(1);
        b.hardware.code[at(ChannelId::supply_v)] = 400;
        b.pass(1);
    }
    CHECK(b.state() == State::live);
}

TEST_CASE(
    "silence of the host takes the supply off, a heard host keeps it, over the clock's wrap") {
    Guarded b;
    b.to_live();
    b.pass(300000); // longer than 2^32 ticks
    CHECK(b.state() == State::live);
    b.pass(kSilenceLimitMs + 100, false);
    CHECK(b.state() == State::tripped);
    CHECK(b.cause() == Cause::host_silent);
    Guarded idle;
    idle.pass(10000, false);
    CHECK(idle.state() == State::idle);
    CHECK(idle.cause() == Cause::none);
}

TEST_CASE("after a reset that nobody asked for the bench is tripped; every reset's cause is told") {
    struct Case {
        wire::ResetCause reset;
        State state;
        Cause cause;
    };
    const Case cases[] = {{wire::ResetCause::watchdog_reset, State::tripped, Cause::watchdog},
                          {wire::ResetCause::brown_out, State::tripped, Cause::brown_out},
                          {wire::ResetCause::external, State::idle, Cause::reset_pin},
                          {wire::ResetCause::power, State::idle, Cause::none}};
    for (const Case& c : cases) {
        Guarded b;
        b.to_live();
        b.hardware.cause = c.reset;
        b.reset();
        CHECK(b.hardware.relays == 0);
        CHECK(b.state() == c.state);
        CHECK(b.cause() == c.cause);
        if (c.state == State::tripped) {
            check_refused(b.power_on(State::checked), Kind::power_on, Reason::wrong_state,
                          static_cast<std::uint32_t>(State::tripped));
            b.ask_payload(Kind::power_off);
        }
        CHECK(b.state() == State::idle);
        CHECK(b.cause() == c.cause); // kept
    }
}

TEST_CASE("a capture that leaves guarded channels out is refused while the supply is on") {
    Guarded b;
    b.to_live();
    wire::CaptureSettings s;
    s.adc_prescale_log2 = 5;
    s.entries = 1;
    s.schedule[0] = {0, 300, 0, 1};
    check_refused(b.ask(Kind::start_capture, s), Kind::start_capture, Reason::not_ready,
                  static_cast<std::uint32_t>(Cause::not_watched));
    s.entries = 6;
    for (std::uint8_t i = 0; i < 5; ++i) {
        s.schedule[i + 1] = {static_cast<std::uint8_t>((2 + i) | wire::kScheduleQuiet), 300, 0, 1};
    }
    CHECK(b.ask(Kind::start_capture, s).kind == wire::answer_to(Kind::start_capture));
    b.pass(100);
    CHECK(b.state() == State::live);
    // Its blocks stay until they are fetched; sampling goes on for the guard without keeping.
    b.ask_payload(Kind::stop_capture);
    b.pass(5);
    CHECK_FALSE(b.hardware.watch_keeps);
    b.ask(Kind::read_blocks, wire::ReadBlocksRequest{0, 1, b.hardware.pool().next()});
    b.pass(5);
    CHECK(b.hardware.watch_keeps);
}

TEST_CASE("no sequence of requests, readings, silence and resets reaches a forbidden state") {
    // 100 000 steps and more, in runs of 400 with a fresh device each; after every relay change the
    // rules are looked at.
    int live = 0;
    int trips = 0;
    int steps = 0;
    int resets = 0;
    for (unsigned run = 0; run < 300; ++run) {
        std::mt19937 random(run);
        auto b = std::make_unique<Guarded>();
        std::vector<std::string> broken;
        const auto rule = [&](bool good, const char* what) {
            if (!good) {
                broken.emplace_back(what);
            }
        };
        b->hardware.on_relays = [&](std::uint8_t before, std::uint8_t after) {
            const bool was_on = (before & kRelaySupply) != 0;
            const bool on = (after & kRelaySupply) != 0;
            rule(on || (after & kRelayBypass) == 0, "bypass without supply");
            rule(!on || (after & kRelayStep) == 0, "step drive with supply");
            rule((before & kRelayStep) == (after & kRelayStep) ||
                     !b->hardware.drive.on(b->hardware.time),
                 "step relay moved with the drive on");
            rule((after & kRelayStep) == 0 || (after & kRelayLoads) == 0,
                 "step drive with a load not at rest");
            rule(!(was_on && on) || ((before ^ after) & kRelayLoads) == 0, "load moved while on");
            rule(!(on && !was_on) || ((before ^ after) & kRelayLoads) == 0,
                 "load closed with supply");
            rule(!(was_on && !on) || (after & kRelayLoads) == (before & kRelayLoads),
                 "load opened with supply");
            rule(!on || b->device.bench().supply_on(), "supply in a state that has none");
            rule(!on || !b->hardware.stop, "supply with the stop button pressed");
            rule(!on || !b->hardware.current, "supply with over-current");
        };
        for (int step = 0; step < 400; ++step) {
            rule(!b->hardware.drive.on(b->hardware.time) ||
                     (b->hardware.relays & (kRelayStep | kRelaySupply)) == kRelayStep,
                 "drive on without its relay");
            steps += b->hardware.drive.on(b->hardware.time) ? 1 : 0;
            switch (random() % 15) {
            case 0:
                b->ask(Kind::set_guard, limits());
                break;
            case 1:
            case 2:
            case 3:
            case 4:
                random() % 10 == 0 ? b->power_on(static_cast<State>(random() % 6)) : b->power_on();
                break;
            case 12:
                b->ask(Kind::step_load,
                       wire::StepSettings{static_cast<std::uint8_t>(1 + random() % 2), 600000,
                                          40000, 100, 20});
                for (int i = 0; i < 60; ++i) { // rounds as short as the drive needs them
                    b->hardware.time += kMsTicks;
                    b->device.poll();
                }
                break;
            case 13: // the interrupts of the two inputs, over before the main loop looks
                if (random() % 4 == 0) {
                    random() % 2 == 0 ? b->hardware.press_stop() : b->hardware.rise_current();
                }
                b->pass(1);
                break;
            case 14: // a reset of any kind: relays off, memory gone
                if (random() % 16 == 0) {
                    constexpr wire::ResetCause kCauses[] = {
                        wire::ResetCause::power, wire::ResetCause::external,
                        wire::ResetCause::brown_out, wire::ResetCause::watchdog_reset};
                    b->hardware.cause = kCauses[random() % 4];
                    const auto rules = b->hardware.on_relays;
                    b->reset();
                    b->hardware.on_relays = rules;
                    rule(b->hardware.relays == 0, "a relay on after a reset");
                    rule(!b->device.bench().supply_on(), "supply on after a reset");
                    ++resets;
                }
                break;
            case 5:
                b->ask_payload(random() % 4 == 0 ? Kind::power_off : Kind::power);
                break;
            case 6:
                b->hardware.stop = random() % 8 == 0;
                b->hardware.current = random() % 8 == 0;
                b->pass(1);
                b->hardware.stop = b->hardware.current = false;
                break;
            case 7:
                b->hardware.code[random() % 8] = static_cast<std::uint16_t>(random() % 1024);
                b->pass(1);
                [[fallthrough]];
            case 8:
                b->hardware.code = {512, 512, 0, 0, 100, 0, 600, 512};
                b->board_on((b->hardware.relays & kRelaySupply) != 0);
                break;
            case 9: { // a frame of noise, or half a frame
                for (unsigned i = 0; i < random() % 30; ++i) {
                    b->hardware.input.push_back(static_cast<std::uint8_t>(random()));
                }
                b->hardware.input.push_back(0);
                b->pass(1);
                break;
            }
            case 10: {
                wire::CaptureSettings s;
                s.adc_prescale_log2 = 5;
                s.entries = 5;
                for (std::uint8_t i = 0; i < 5; ++i) {
                    s.schedule[i] = {i, 300, 0, 1};
                }
                s.schedule[random() % 5].channel = static_cast<std::uint8_t>(random() % 8);
                s.schedule[0].channel = 5;
                b->ask(Kind::start_capture, s);
                break;
            }
            default:
                b->board_on((b->hardware.relays & kRelaySupply) != 0);
                b->pass(static_cast<int>(random() % 700), random() % 20 != 0);
                break;
            }
            live += b->state() == State::live ? 1 : 0;
            trips += b->state() == State::tripped ? 1 : 0;
        }
        INFO("run " << run << ": " << (broken.empty() ? "" : broken.front()));
        REQUIRE(broken.empty());
    }
    // The walk got where it can hurt.
    CHECK(live > 4000);
    CHECK(trips > 1000);
    CHECK(steps > 500);
    CHECK(resets > 300);
}
