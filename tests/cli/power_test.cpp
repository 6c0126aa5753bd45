// SPDX-License-Identifier: MIT
// Who may switch a supply on: profiles, limits, questions, answers, trips, with the firmware's own
// core and a board in memory for a bench and a person stood in for.
#include "host/bench/channel_codes.hpp"
#include "host/cli/seams.hpp"
#include "host/cli/trip_parts.hpp"
#include "host/record/power_questions.hpp"
#include "host/record/record.hpp"
#include "host/record/sweep_log.hpp"
#include "tests/unit/bench/guarded_device.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <deque>
#include <sstream>

using namespace yokedock;
using namespace yokedock::cli;
using Catch::Contains;

namespace {

const std::string kProfile = YOKEDOCK_SOURCE_FOLDER "/demo/boards/quillwood13.profile.json";

struct Run {
    int code = -1;
    std::string out;
    std::string err;
    bool opened = false; ///< a bench was asked for
    std::uint8_t ever_closed = 0;
    std::uint8_t relays = 0;
};

/// Runs the program with answers typed on a terminal, or without one.
Run run(const std::vector<std::string>& arguments, test::GuardedDevice& device,
        std::optional<std::deque<std::string>> typed = std::nullopt) {
    std::ostringstream out;
    std::ostringstream err;
    Run result;
    double steady_s = 0;
    Seams seams{out,
                err,
                false,
                false,
                {},
                [&](const std::string& address) {
                    result.opened = true;
                    return bench::Bench::connect(
                        std::make_unique<test::DeviceTransport<test::GuardedDevice>>(device),
                        address);
                },
                [] { return std::vector<link::SerialPortInfo>{}; },
                [] { return std::string("2026-01-31T09:36:12Z"); },
                [&steady_s] { return steady_s += 1; },
                [](const std::string&) { return std::string(); },
                typed.has_value(),
                [&typed]() -> std::optional<std::string> {
                    if (!typed || typed->empty()) {
                        return std::nullopt;
                    }
                    std::string first = typed->front();
                    typed->pop_front();
                    return first;
                }};
    result.code = run_yokedock(arguments, seams);
    result.out = out.str();
    result.err = err.str();
    result.ever_closed = device.ever_closed();
    result.relays = device.relays();
    return result;
}

std::vector<std::string> join(std::vector<std::string> words,
                              const std::vector<std::string>& more) {
    words.insert(words.end(), more.begin(), more.end());
    return words;
}

/// A short look at the board.
std::vector<std::string> look(const std::vector<std::string>& more) {
    return join({"run", "--bench", "memory:", "--duration-s", "0.1", "--quiet-cautions"}, more);
}

/// The demonstration's questions: not live to the mains, own line output transformer.
const std::vector<std::string> kAllConfirmed{
    "--confirm", "parts_changed=C401", "--confirm",  "pin_one",   "--confirm",
    "polarity",  "--confirm",          "no_bridges", "--confirm", "tube_discharged",
    "--confirm", "anode_lead",         "--confirm",  "yoke_plugs"};

/// A good board that draws 1.4 A from 4 s on, more than its limit.
test::BoardState overloaded_later(std::uint8_t relays, double ms) {
    test::BoardState s = test::healthy_board(relays, ms);
    if ((relays & 2) != 0 && ms > 4000) {
        s.code[3] =
            static_cast<std::uint16_t>(std::lround(bench::code_of(ChannelId::supply_a, 1.4)));
    }
    return s;
}

Run measure(const TempFolder& folder, test::GuardedDevice& device, const char* settle_s) {
    return run(join({"measure", "--bench", "memory:", "--settle-s", settle_s, "--profile", kProfile,
                     "--out", folder.file("r.json")},
                    kAllConfirmed),
               device);
}

void check_nothing_touched(const Run& run, int code) {
    INFO(run.err);
    CHECK(run.code == code);
    CHECK_FALSE(run.opened);
    CHECK(run.ever_closed == 0);
}

} // namespace

TEST_CASE("without a profile nothing is switched, and the way to one is told") {
    test::GuardedDevice device;
    for (const char* command : {"run", "measure", "sweep"}) {
        const Run refused = run({command, "--bench", "memory:", "--standard", "525/59.94"}, device);
        check_nothing_touched(refused, 2);
        CHECK_THAT(refused.err, Contains("yokedock profile new") && Contains("--profile") &&
                                    Contains("--supply outside"));
    }
}

TEST_CASE("a profile that lacks limits is refused with their keys") {
    const TempFolder folder;
    test::GuardedDevice device;
    (void)folder.write("p.json", R"({"schema": 2, "name": "Q", "standard": "525/59.94",
        "limits": {"supply_max_v": 26.5, "soft_start_ms": 500, "soft_start_min_v": 10}})");
    const Run refused = run(look({"--profile", folder.file("p.json")}), device);
    check_nothing_touched(refused, 2);
    CHECK_THAT(refused.err, Contains("limits.supply_max_a, limits.supply_idle_max_a") &&
                                !Contains("limits.supply_max_v") && Contains("docs/profile.md"));
}

TEST_CASE("where nobody can be asked every open question is listed, and nothing is switched") {
    test::GuardedDevice device;
    const Run refused =
        run(look({"--profile", kProfile, "--confirm", "pin_one", "--confirm", "polarity"}), device);
    check_nothing_touched(refused, 2);
    CHECK_THAT(refused.err,
               Contains("--confirm parts_changed=WORDS") && Contains("--confirm no_bridges") &&
                   Contains("--confirm tube_discharged") && Contains("--confirm yoke_plugs") &&
                   !Contains("--confirm pin_one") && !Contains("isolation_transformer"));
}

TEST_CASE("answers that are not yes, that fit no question, or come twice, keep the supply off") {
    test::GuardedDevice device;
    const auto with = [&](const std::vector<std::string>& words) {
        return run(look(join({"--profile", kProfile}, words)), device);
    };
    const Run no = with(join({"--confirm", "pin_one=no"}, {}));
    check_nothing_touched(no, 4);
    CHECK_THAT(no.err, Contains("supply stays off") && Contains("pin_one") && Contains("\"no\""));
    const Run unknown = with({"--confirm", "all"});
    check_nothing_touched(unknown, 2);
    CHECK_THAT(unknown.err, Contains("expected one of parts_changed, pin_one"));
    check_nothing_touched(with({"--confirm", "pin_one", "--confirm", "pin_one"}), 2);
    check_nothing_touched(with({"--confirm", "parts_changed"}), 2); // which parts?
    check_nothing_touched(with({"--supply", "inside"}), 2);
    check_nothing_touched(with({"--loads", "three"}), 2);
    check_nothing_touched(with({"--supply", "outside", "--confirm", "pin_one"}), 2);
}

TEST_CASE("with every answer given the supply comes up by stages and is off at the end") {
    test::GuardedDevice device;
    const Run up = run(look(join({"--profile", kProfile}, kAllConfirmed)), device);
    INFO(up.err);
    REQUIRE(up.code == 0);
    CHECK((up.ever_closed & 0x0F) == 0x0F);
    CHECK((up.relays & 0x03) == 0);
    CHECK_THAT(up.err, Contains("supply checked") && Contains("supply starting") &&
                           Contains("supply settled") && Contains("rail 23.99") &&
                           Contains("current 0.30 A") &&
                           Contains("supply off, confirmed by the bench"));
}

TEST_CASE("on a terminal each question is asked; anything but yes ends it before the bench is "
          "touched") {
    test::GuardedDevice device;
    const Run up =
        run(look({"--profile", kProfile}), device,
            std::deque<std::string>{"C401, IC401", "yes", "y", "YES", "yes", "yes", "yes"});
    INFO(up.err);
    CHECK(up.code == 0);
    CHECK_THAT(up.err, Contains("Which parts were changed") && Contains("pin 1"));
    test::GuardedDevice other;
    const Run no = run(look({"--profile", kProfile}), other,
                       std::deque<std::string>{"", "yes", "perhaps", "yes", "yes", "yes", "yes"});
    check_nothing_touched(no, 4);
    const Run gone = run(look({"--profile", kProfile}), other, std::deque<std::string>{"", "yes"});
    check_nothing_touched(gone, 130);
}

TEST_CASE("where nothing was changed only what can kill is asked") {
    test::GuardedDevice device;
    const Run refused = run(look({"--profile", kProfile, "--nothing-changed"}), device);
    check_nothing_touched(refused, 2);
    CHECK_THAT(refused.err, Contains("--confirm tube_discharged") &&
                                Contains("--confirm anode_lead") && !Contains("pin_one") &&
                                !Contains("yoke_plugs"));
    const Run up = run(look({"--profile", kProfile, "--nothing-changed", "--confirm",
                             "tube_discharged", "--confirm", "anode_lead"}),
                       device);
    CHECK(up.code == 0);
}

TEST_CASE(
    "a supply outside closes no relay, and the cautions say that nothing protects the board") {
    test::GuardedDevice device([](std::uint8_t, double) { return test::healthy_board(1, 1000); });
    const Run up = run({"run", "--bench", "memory:", "--duration-s", "0.1", "--standard",
                        "525/59.94", "--supply", "outside"},
                       device);
    INFO(up.err);
    CHECK(up.code == 0);
    CHECK(up.ever_closed == 0);
    CHECK_THAT(up.err, Contains("powered from outside") && !Contains("supply off"));
}

TEST_CASE("a record keeps the answers, the stages and their readings") {
    const TempFolder folder;
    test::GuardedDevice device;
    const std::string path = folder.file("r.json");
    const Run done = run(join({"measure", "--bench", "memory:", "--settle-s", "0", "--profile",
                               kProfile, "--out", path},
                              kAllConfirmed),
                         device);
    INFO(done.err);
    REQUIRE(done.code == 0);
    const auto record = record::load_record(path);
    REQUIRE(record);
    REQUIRE(record.value().power);
    const record::PowerRecord& power = *record.value().power;
    CHECK(power.by_bench);
    CHECK_FALSE(power.nothing_changed);
    REQUIRE(power.answers.size() == 7);
    CHECK(power.answers[0].id == "parts_changed");
    CHECK(power.answers[0].answer == "C401");
    CHECK(power.answers[1].answer == "yes");
    REQUIRE(power.stages.size() == 5);
    const auto rail = power.stages[4].readings[static_cast<std::size_t>(ChannelId::supply_v)];
    REQUIRE(rail);
    CHECK(*rail == Approx(24).margin(0.1));
    CHECK_FALSE(power.trip);
    // And the same again when it is written.
    const auto again = record::from_json_text(record::to_json_text(record.value()), "again");
    REQUIRE(again);
    CHECK(record::to_json_text(again.value()) == record::to_json_text(record.value()));
}

TEST_CASE(
    "a trip in a measurement is told with parts, kept in its record and in a file of its own") {
    const TempFolder folder;
    test::GuardedDevice device(overloaded_later);
    const Run tripped = measure(folder, device, "0");
    INFO(tripped.err);
    CHECK(tripped.code == 4);
    CHECK((tripped.relays & 3) == 0);
    CHECK_THAT(tripped.err, Contains("more current than its limit") &&
                                Contains("supply_a read 1.4") &&
                                Contains("look first at: IC401 (vertical output, output IC)") &&
                                Contains("supply off, confirmed"));
    const auto record = record::load_record(folder.file("r.json"));
    REQUIRE(record);
    CHECK_FALSE(record.value().complete);
    REQUIRE(record.value().power);
    REQUIRE(record.value().power->trip);
    CHECK(record.value().power->trip->cause == "supply_current");
    CHECK(record.value().power->trip->value.value() == Approx(1.4).margin(0.01));
    CHECK(folder.entries() == 2);
    const auto names = tripped.err.find("trip: ");
    REQUIRE(names != std::string::npos);
    const std::string path =
        tripped.err.substr(names + 6, tripped.err.find('\n', names) - names - 6);
    const auto trip = record::load_record(path);
    INFO((trip ? "" : trip.error().text));
    REQUIRE(trip);
    REQUIRE(trip.value().raw);
    CHECK(trip.value().raw->captures.back().purpose == "trip");
    CHECK_THAT(trip.value().notes.at(0), Contains("more current than its limit"));
}

TEST_CASE("a trip while the board settles is told, and no board without supply is measured") {
    const TempFolder folder;
    test::GuardedDevice device(overloaded_later);
    const Run tripped = measure(folder, device, "6");
    INFO(tripped.err);
    CHECK(tripped.code == 4);
    CHECK_THAT(tripped.err, Contains("more current than its limit") &&
                                Contains("look first at: IC401 (vertical output, output IC)") &&
                                Contains("supply off, confirmed"));
    CHECK(tripped.out.empty());
    CHECK(folder.entries() == 1); // the trip's file, no record
}

TEST_CASE("a trip in the soft start keeps what the bench sampled on the way, and no record") {
    const TempFolder folder;
    test::GuardedDevice device([](std::uint8_t relays, double ms) {
        test::BoardState s = test::healthy_board(relays, ms);
        if ((relays & 1) != 0 && ms > 250) {
            s.code[2] =
                static_cast<std::uint16_t>(std::lround(bench::code_of(ChannelId::supply_v, 29)));
        }
        return s;
    });
    const Run tripped = measure(folder, device, "0");
    INFO(tripped.err);
    CHECK(tripped.code == 4);
    CHECK((tripped.ever_closed & 2) == 0);
    CHECK_THAT(tripped.err, Contains("in stage \"starting\"") && Contains("supply_v read 28.99") &&
                                Contains("IC101 (supply, regulator)") &&
                                Contains("last readings: "));
    CHECK(folder.entries() == 1); // the trip's file
}

TEST_CASE("with allow-silent a board without vertical retrace stays on, and all else is guarded") {
    const auto dead = [](std::uint8_t relays, double ms) {
        test::BoardState s = test::healthy_board(relays, ms);
        s.field_retrace = false;
        return s;
    };
    test::GuardedDevice device(dead);
    const auto words = look(join({"--profile", kProfile}, kAllConfirmed));
    const Run off = run(words, device);
    CHECK(off.code == 4);
    CHECK_THAT(off.err, Contains("no vertical retrace pulse"));
    test::GuardedDevice again(dead);
    const Run on = run(join(words, {"--allow-silent"}), again);
    INFO(on.err);
    CHECK(on.code == 0);
    CHECK_THAT(on.err, Contains("not guarded"));
}

TEST_CASE("a lost link says that the bench switches off by itself") {
    test::GuardedDevice device;
    int calls = 0;
    device.board = [&](std::uint8_t relays, double ms) {
        device.cable = device.cable && !((relays & 2) != 0 && ++calls > 300);
        return test::healthy_board(relays, ms);
    };
    const Run lost = run(look(join({"--profile", kProfile}, kAllConfirmed)), device);
    INFO(lost.err);
    CHECK(lost.code == 3);
    CHECK_THAT(lost.err, Contains("did not confirm") && Contains("2 s"));
    device.pass(2100);
    CHECK((device.relays() & 3) == 0);
}

TEST_CASE("every cause that points to parts points to some of the demonstration's board") {
    const auto profile = record::load_profile(kProfile);
    REQUIRE(profile);
    using enum wire::StopCause;
    for (const auto cause : {over_current, supply_high, supply_low, supply_current, output_high,
                             output_low, retrace_peak, heatsink, load_current, load_lost,
                             field_retrace_missing, line_retrace_missing, rail_not_up}) {
        INFO(link::stop_cause_name(cause));
        CHECK_FALSE(suspects(cause, profile.value()).empty());
    }
    CHECK(suspects(host_silent, profile.value()).empty());
}
