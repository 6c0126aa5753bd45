// SPDX-License-Identifier: MIT
// Guarded energise against the firmware's own core: the healthy way up, everything that may stand
// against it, and a trip in every stage. However it ends otherwise, the supply relays are open.
#include "host/bench/channel_codes.hpp"
#include "host/bench/energise.hpp"
#include "shared/sync/standards.hpp"
#include "tests/unit/bench/guarded_device.hpp"
#include <atomic>
#include <catch2/catch.hpp>
#include <cmath>

using namespace yokedock;
using namespace yokedock::bench;
using Catch::Contains;
using test::BoardState;
using test::healthy_board;

namespace {

constexpr std::uint8_t kK1 = 0x01;
constexpr std::uint8_t kK2 = 0x02;

std::uint16_t code(ChannelId id, double value) {
    return static_cast<std::uint16_t>(std::lround(code_of(id, value)));
}
void set(BoardState& s, ChannelId id, double value) {
    s.code[static_cast<std::size_t>(id)] = code(id, value);
}

PowerLimits limits() {
    PowerLimits l;
    l.supply_min_v = 21.5;
    l.supply_max_v = 26.5;
    l.supply_max_a = 1.0;
    l.soft_start_ms = 500;
    l.soft_start_min_v = 10;
    l.supply_idle_max_a = 0.8;
    l.v_out_min_v = -1.5;
    l.v_out_max_v = 56;
    l.h_peak_max_v = 250;
    l.heatsink_max_c = 95;
    l.v_retrace_missing_ms = 50;
    l.h_retrace_missing_ms = 1;
    l.v_yoke_least_pp_a = 0.08;
    return l;
}

struct Session {
    test::GuardedDevice device;
    std::atomic<bool> stop_flag = false;
    Bench bench;
    EnergiseOptions options;
    std::vector<std::string> told;
    StageReadings swing{}; ///< what read() tells of it

    explicit Session(test::BoardModel board = healthy_board, bool sync = true)
        : device(std::move(board)),
          bench(Bench::connect(std::make_unique<test::DeviceTransport<test::GuardedDevice>>(device),
                               "memory:", link::StopToken(stop_flag))
                    .value()) {
        REQUIRE(bench.set_sync(sync::kStandards[0].settings));
        REQUIRE(bench.sync_output(sync));
        options.guard = plan_guard(limits()).value();
        options.supply_idle_max_a = limits().supply_idle_max_a;
        options.on_stage = [this](const StageReport& stage) {
            told.emplace_back(stage_word(stage.stage));
        };
        // What a capture would read, without one: the board's state as the relays are.
        options.read = [this]() -> Result<StageView> {
            const BoardState s = device.board(device.relays(), 400);
            StageView view;
            for (std::size_t i = 0; i < kChannelCount; ++i) {
                view.mean[i] = value_of(static_cast<ChannelId>(i), s.code[i]);
            }
            view.swing = swing;
            return view;
        };
    }
    EnergiseOutcome run() { return energise(bench, options); }

    /// It failed in that stage, says so, and nothing is on.
    void check_refused(const EnergiseOutcome& outcome, wire::StopCause cause, const char* stage,
                       const std::string& words) const {
        REQUIRE(outcome.error);
        INFO(outcome.error->text);
        CHECK(outcome.error->kind == ErrorKind::kRefused);
        REQUIRE(outcome.trip);
        CHECK(outcome.trip->cause == cause);
        CHECK(outcome.trip->stage == stage);
        // More than a short can draw through the resistor is no fault of the board.
        CHECK_THAT(outcome.error->text,
                   Contains(feed_too_high(*outcome.trip) ? "measure the supply"
                                                         : link::next_step_text(cause)) &&
                       Contains(words));
        CHECK(outcome.off_confirmed);
        CHECK((device.relays() & (kK1 | kK2)) == 0);
    }
};

using Bend = std::function<void(BoardState&, std::uint8_t relays, double ms_on)>;

test::BoardModel bent(Bend bend) {
    return [bend](std::uint8_t relays, double ms_on) {
        BoardState s = healthy_board(relays, ms_on);
        bend(s, relays, ms_on);
        return s;
    };
}

} // namespace

TEST_CASE("a healthy board comes up through every stage, each told with rail and current") {
    Session s;
    const EnergiseOutcome outcome = s.run();
    INFO((outcome.error ? outcome.error->text : ""));
    REQUIRE_FALSE(outcome.error);
    CHECK(s.told == std::vector<std::string>{"off", "checked", "starting", "live", "settled"});
    CHECK(s.device.relays() == (0x01 | 0x02 | 0x04 | 0x08));
    REQUIRE(outcome.stages.size() == 5);
    const auto rail = [&](std::size_t i) {
        return outcome.stages[i].readings[static_cast<std::size_t>(ChannelId::supply_v)].value();
    };
    CHECK(std::abs(rail(1)) < 0.1);
    CHECK(rail(2) == Approx(17.4).margin(0.4)); // 24 V less 0.3 A through 22 ohm, still settling
    CHECK(rail(4) > 22);
    // The soft start takes its time, and all of settle_ms is waited for after the bypass.
    CHECK(outcome.stages[2].time_s - outcome.stages[1].time_s > 0.39);
    CHECK(outcome.stages[4].time_s - outcome.stages[3].time_s > 1.0);
    CHECK(s.bench.power().value().state == static_cast<std::uint8_t>(wire::BenchState::live));
}

TEST_CASE("a start right after a run waits for the load relays, and takes a trip's place") {
    Session s;
    REQUIRE_FALSE(s.run().error);
    CHECK_FALSE(s.run().error); // switched off and up again; loads stay closed for half a second
    s.device.pass(2500);        // nobody is heard: tripped
    CHECK((s.device.relays() & (kK1 | kK2)) == 0);
    CHECK_FALSE(s.run().error);
}

TEST_CASE("without sync nothing is switched, unless the board is to run free") {
    Session s(healthy_board, false);
    const EnergiseOutcome outcome = s.run();
    REQUIRE(outcome.error);
    CHECK(outcome.error->kind == ErrorKind::kUsage);
    CHECK_THAT(outcome.error->text, Contains("no sync is sent"));
    CHECK(s.device.ever_closed() == 0);
    s.options.free_run = true;
    CHECK_FALSE(s.run().error);
}

TEST_CASE("what stands against the check keeps every supply relay open") {
    struct Row {
        wire::StopCause cause;
        const char* words;
        Bend bend;
    };
    const Row rows[] = {
        {wire::StopCause::reference, "reference",
         [](BoardState& s, std::uint8_t, double) { set(s, ChannelId::ref_v, 2.60); }},
        {wire::StopCause::rail_on, "reservoirs",
         [](BoardState& s, std::uint8_t, double) { set(s, ChannelId::supply_v, 5); }},
        {wire::StopCause::stop_button, "button",
         [](BoardState& s, std::uint8_t, double) { s.stop = true; }},
        {wire::StopCause::over_current, "ohmmeter",
         [](BoardState& s, std::uint8_t, double) { s.over_current = true; }},
        {wire::StopCause::heatsink, "heatsink_c read",
         [](BoardState& s, std::uint8_t, double) { set(s, ChannelId::heatsink_c, 99); }},
        {wire::StopCause::heatsink_sensor, "sensor",
         [](BoardState& s, std::uint8_t, double) { s.code[6] = 1022; }},
    };
    for (const Row& row : rows) {
        INFO(link::stop_cause_name(row.cause));
        Session s(bent(row.bend));
        const EnergiseOutcome outcome = s.run();
        s.check_refused(outcome, row.cause, "off", row.words);
        CHECK((s.device.ever_closed() & (kK1 | kK2)) == 0);
        CHECK_THAT(outcome.error->text, Contains("was not switched on"));
    }
}

TEST_CASE("a rail that is still running down is waited for") {
    int calls = 0;
    Session s(bent([&calls](BoardState& state, std::uint8_t relays, double) {
        if ((relays & kK1) == 0) {
            set(state, ChannelId::supply_v, ++calls < 3000 ? 6 : 0.5); // 3 s
        }
    }));
    const EnergiseOutcome outcome = s.run();
    INFO((outcome.error ? outcome.error->text : ""));
    CHECK_FALSE(outcome.error);
}

TEST_CASE("a load's current that still dies down after a run is waited for") {
    int calls = 0;
    Session s(bent([&calls](BoardState& state, std::uint8_t relays, double) {
        if ((relays & kK1) == 0) {
            set(state, ChannelId::v_yoke_a, ++calls < 3000 ? 0.1 : 0); // 3 s
        }
    }));
    const EnergiseOutcome outcome = s.run();
    INFO((outcome.error ? outcome.error->text : ""));
    CHECK_FALSE(outcome.error);
    CHECK(calls >= 3000);
}

TEST_CASE("a zero of the bench that is off is told by channel, and nothing is switched") {
    Session s(bent(
        [](BoardState& state, std::uint8_t, double) { set(state, ChannelId::v_yoke_a, 0.1); }));
    const EnergiseOutcome outcome = s.run();
    REQUIRE(outcome.error);
    CHECK_THAT(outcome.error->text, Contains("v_yoke_a still reads 0.1") && Contains("expected 0"));
    CHECK(s.device.ever_closed() == 0);
}

TEST_CASE("a stop button pressed between check and start ends it") {
    int checked = 0;
    Session s(bent([&checked](BoardState& state, std::uint8_t relays, double) {
        checked += (relays & 0x04) != 0 ? 1 : 0;
        state.stop = checked > 20;
    }));
    const EnergiseOutcome outcome = s.run();
    s.check_refused(outcome, wire::StopCause::stop_button, "checked", "button");
    CHECK((s.device.ever_closed() & kK1) == 0);
}

TEST_CASE("trips of the soft start are told with the reading in its unit, and the bypass never "
          "closes") {
    struct Row {
        wire::StopCause cause;
        const char* words;
        Bend bend;
    };
    const Row rows[] = {
        {wire::StopCause::supply_high, "supply_v read 28.",
         [](BoardState& s, std::uint8_t relays, double ms) {
             if ((relays & kK1) != 0 && ms > 50) {
                 set(s, ChannelId::supply_v, 28.8);
             }
         }},
        // Above what the resistor lets through: the bypass relay's contacts hang.
        {wire::StopCause::supply_current, "supply_a read 1.499 A",
         [](BoardState& s, std::uint8_t relays, double) {
             if ((relays & kK1) != 0) {
                 set(s, ChannelId::supply_a, 1.5);
             }
         }},
        {wire::StopCause::output_high, "v_out_v read 60",
         [](BoardState& s, std::uint8_t relays, double) {
             if ((relays & kK1) != 0) {
                 set(s, ChannelId::v_out_v, 60);
             }
         }},
        {wire::StopCause::retrace_peak, "h_peak_v read 259.8 V",
         [](BoardState& s, std::uint8_t relays, double) {
             if ((relays & kK1) != 0) {
                 set(s, ChannelId::h_peak_v, 260);
             }
         }},
        {wire::StopCause::over_current, "hardware limit",
         [](BoardState& s, std::uint8_t relays, double) { s.over_current = (relays & kK1) != 0; }},
        {wire::StopCause::stop_button, "button",
         [](BoardState& s, std::uint8_t relays, double ms) {
             s.stop = (relays & kK1) != 0 && ms > 100;
         }},
        {wire::StopCause::rail_not_up, "did not come up",
         [](BoardState& s, std::uint8_t, double) { set(s, ChannelId::supply_v, 1); }},
    };
    for (const Row& row : rows) {
        INFO(link::stop_cause_name(row.cause));
        Session s(bent(row.bend));
        const EnergiseOutcome outcome = s.run();
        s.check_refused(outcome, row.cause, "starting", row.words);
        CHECK((s.device.ever_closed() & kK1) != 0);
        CHECK((s.device.ever_closed() & kK2) == 0);
    }
}

TEST_CASE("a board that draws too much behind the resistor is switched off before the bypass") {
    Session s(bent([](BoardState& state, std::uint8_t relays, double) {
        if ((relays & kK1) != 0) {
            set(state, ChannelId::supply_a, 0.9); // the resistor lets 1.3 A through
        }
    }));
    const EnergiseOutcome outcome = s.run();
    s.check_refused(outcome, wire::StopCause::supply_current, "starting", "0.90 A");
    CHECK_THAT(outcome.error->text, Contains("supply_idle_max_a, 0.80 A"));
    CHECK((s.device.ever_closed() & kK2) == 0);
}

TEST_CASE("what feeds the soft start is judged before it is the rail") {
    // 20 % high: 28.8 V. Behind the resistor the board draws 0.3 A, so that its rail is 22.2 V.
    Session s(bent([](BoardState& state, std::uint8_t relays, double) {
        if ((relays & (kK1 | kK2)) == kK1) {
            set(state, ChannelId::supply_v, 28.8 - 22 * 0.3);
        }
    }));
    s.options.supply_max_v = 26.5;
    s.check_refused(s.run(), wire::StopCause::supply_high, "starting", "28.8 V");
    CHECK((s.device.ever_closed() & kK2) == 0);
}

TEST_CASE("loads are judged behind the soft-start resistor, and the bypass stays open") {
    const auto swing = [](ChannelId id) { return static_cast<std::size_t>(id); };
    struct Row {
        const char* name;
        double v_out_v, v_yoke_a, h_yoke_a; // swings; the retrace peak is 200 V
        std::optional<wire::StopCause> cause;
        const char* words;
    };
    const Row rows[] = {
        {"healthy: 0.4 A through 11 ohm, and the retrace", 31, 0.4, 2, {}, ""},
        {"sense resistor and wiring only add", 5.0, 0.4, 2, {}, ""},
        {"not yet running", 0.3, 0.01, 2, {}, ""},
        {"plug off", 14, 0.01, 2, wire::StopCause::load_lost, "vertical load"},
        {"shorted to 0.4 ohm, with 1 ohm of sense resistor", 0.72, 0.4, 2,
         wire::StopCause::load_current, "1.8 ohm"},
        {"line plug off", 31, 0.4, 0.02, wire::StopCause::load_lost, "horizontal load"},
    };
    for (const Row& row : rows) {
        INFO(row.name);
        Session s;
        s.options.loads.vertical_ohm = 11;
        s.swing[swing(ChannelId::v_out_v)] = row.v_out_v;
        s.swing[swing(ChannelId::v_yoke_a)] = row.v_yoke_a;
        s.swing[swing(ChannelId::h_yoke_a)] = row.h_yoke_a;
        const EnergiseOutcome outcome = s.run();
        if (!row.cause) {
            CHECK_FALSE(outcome.error);
            continue;
        }
        REQUIRE(outcome.error);
        INFO(outcome.error->text);
        REQUIRE(outcome.trip);
        CHECK(outcome.trip->cause == *row.cause);
        CHECK(outcome.trip->stage == "starting");
        CHECK_THAT(outcome.error->text, Contains(row.words));
        CHECK(outcome.off_confirmed);
        CHECK((s.device.ever_closed() & kK2) == 0);
    }
}

TEST_CASE(
    "loads that nobody asked to be judged are not, and what was not measured proves nothing") {
    StageReadings mean{};
    StageReadings swing{};
    const auto at = [](ChannelId id) { return static_cast<std::size_t>(id); };
    SoftStartLoads loads{11.0, true, true};
    CHECK_FALSE(judge_soft_start_loads(loads, mean, swing));
    mean[at(ChannelId::h_peak_v)] = 200;
    swing[at(ChannelId::v_out_v)] = 14;
    CHECK_FALSE(judge_soft_start_loads(loads, mean, swing)); // no current was read
    swing[at(ChannelId::v_yoke_a)] = 0;
    swing[at(ChannelId::h_yoke_a)] = 0;
    CHECK(judge_soft_start_loads(loads, mean, swing)->channel == ChannelId::v_yoke_a);
    loads.vertical = false;
    CHECK(judge_soft_start_loads(loads, mean, swing)->channel == ChannelId::h_yoke_a);
    loads.horizontal = false;
    CHECK_FALSE(judge_soft_start_loads(loads, mean, swing));
}

TEST_CASE("trips after the bypass, before and after the limits of a running board hold") {
    struct Row {
        wire::StopCause cause;
        const char* words;
        Bend bend;
    };
    const auto live = [](std::uint8_t relays) { return (relays & kK2) != 0; };
    const Row rows[] = {
        {wire::StopCause::supply_current, "supply_a read 1.2",
         [=](BoardState& s, std::uint8_t relays, double) {
             if (live(relays)) {
                 set(s, ChannelId::supply_a, 1.2);
             }
         }},
        {wire::StopCause::supply_low, "supply_v read 18",
         [=](BoardState& s, std::uint8_t relays, double) {
             if (live(relays)) {
                 set(s, ChannelId::supply_v, 18);
             }
         }},
        {wire::StopCause::output_low, "v_out_v read -2",
         [=](BoardState& s, std::uint8_t relays, double) {
             if (live(relays)) {
                 set(s, ChannelId::v_out_v, -2);
             }
         }},
        {wire::StopCause::heatsink, "heatsink_c read 10",
         [=](BoardState& s, std::uint8_t relays, double) {
             if (live(relays)) {
                 set(s, ChannelId::heatsink_c, 101);
             }
         }},
        {wire::StopCause::load_lost, "v_yoke_a swung by 0.0",
         [=](BoardState& s, std::uint8_t relays, double) {
             if (live(relays)) {
                 set(s, ChannelId::v_yoke_a, 0);
             }
         }},
        {wire::StopCause::field_retrace_missing, "vertical retrace",
         [=](BoardState& s, std::uint8_t, double) { s.field_retrace = false; }},
        {wire::StopCause::line_retrace_missing, "horizontal retrace",
         [=](BoardState& s, std::uint8_t, double) { s.line_retrace = false; }},
    };
    for (const Row& row : rows) {
        INFO(link::stop_cause_name(row.cause));
        Session s(bent(row.bend));
        const EnergiseOutcome outcome = s.run();
        s.check_refused(outcome, row.cause, "live", row.words);
        CHECK_THAT(outcome.error->text, Contains("the bench switched the supply off"));
        REQUIRE(outcome.trip);
        CHECK(outcome.trip->tripped);
        CHECK(outcome.trip->time != 0);
    }
}

TEST_CASE("a link that is lost in the soft start is told, and the bench is off by itself") {
    Session s;
    s.options.on_stage = [&s](const StageReport& stage) {
        s.device.cable = stage.stage != EnergiseStage::kStarting;
    };
    const EnergiseOutcome outcome = s.run();
    REQUIRE(outcome.error);
    CHECK(outcome.error->kind == ErrorKind::kLink);
    CHECK_FALSE(outcome.off_confirmed);
    s.device.pass(2100); // silence limit 2 s
    CHECK((s.device.relays() & (kK1 | kK2)) == 0);
}

TEST_CASE("Ctrl-C in any stage leaves the supply off") {
    for (int n = 0; n < 5; ++n) {
        Session s;
        s.options.on_stage = [&s, n](const StageReport& stage) {
            s.stop_flag = static_cast<int>(stage.stage) == n;
        };
        const EnergiseOutcome outcome = s.run();
        if (n == 4) { // the last one: it is up, and whoever called switches off
            CHECK_FALSE(outcome.error);
            continue;
        }
        REQUIRE(outcome.error);
        CHECK(outcome.error->kind == ErrorKind::kStopped);
        CHECK(outcome.off_confirmed);
        CHECK((s.device.relays() & (kK1 | kK2)) == 0);
    }
}

TEST_CASE("a reading that cannot be had is told as not measured and does not end the start") {
    Session s;
    s.options.read = []() -> Result<StageView> {
        return Error{ErrorKind::kRefused, "no capture here"};
    };
    const EnergiseOutcome outcome = s.run();
    REQUIRE_FALSE(outcome.error);
    CHECK(outcome.stages[2].not_measured == "no capture here");
}
