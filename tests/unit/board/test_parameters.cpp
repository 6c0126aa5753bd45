// SPDX-License-Identifier: MIT
#include "board_fixture.hpp"
#include <cmath>
#include <set>

using namespace yokedock;
using namespace yokedock::sim;

namespace {
bool mentions(const Error& error, const char* word) {
    return error.text.find(word) != std::string::npos;
}
} // namespace

TEST_CASE("Every demo board loads and every parameter has a name, a meaning and a sane range") {
    for (const char* file : {"quillwood13.json", "quillwood13_rolls.json", "quillwood13_50hz.json",
                             "quillwood13_coupling_dried.json", "quillwood13_boost_open.json",
                             "quillwood13_retrace_cap_low.json", "quillwood13_fails_warm.json",
                             "quillwood13_joint_comes_and_goes.json"}) {
        const BoardParameters p = demo_board(file);
        std::set<std::string> names;
        for (const ParameterInfo& info : parameter_table()) {
            CAPTURE(file, info.path);
            CHECK(names.insert(std::string(info.path)).second);
            CHECK_FALSE(info.text.empty());
            CHECK(info.low < info.high);
            CHECK(p.*(info.member) >= info.low);
            CHECK(p.*(info.member) <= info.high);
        }
    }
}

TEST_CASE("A setting changes the one value it names") {
    BoardParameters p = demo_board();
    REQUIRE(apply_setting(p, "vertical_oscillator.hold_ohm=12.5e3").ok());
    CHECK(p.vertical_oscillator_hold_ohm == 12500);
    BoardParameters q = demo_board();
    q.vertical_oscillator_hold_ohm = 12500;
    for (const ParameterInfo& info : parameter_table()) {
        CHECK(p.*(info.member) == q.*(info.member));
    }
}

TEST_CASE("A wrong setting is refused with key, value and what was expected, and changes nothing") {
    BoardParameters p = demo_board();
    const auto refused = [&p](const char* setting) {
        const Status s = apply_setting(p, setting);
        REQUIRE_FALSE(s.ok());
        CHECK(s.error().kind == ErrorKind::kUsage);
        return s.error();
    };
    CHECK(mentions(refused("vertical_oscillator.hold=3"), "vertical_oscillator.hold_ohm"));
    CHECK(mentions(refused("ramp.height_ohm=tall"), "tall"));
    CHECK(mentions(refused("ramp.height_ohm=5k"), "5k"));
    CHECK(mentions(refused("ramp.height_ohm=-1"), "-1"));
    CHECK(mentions(refused("ramp.height_ohm=nan"), "nan"));
    CHECK(mentions(refused("ramp.height_ohm"), "="));
    CHECK(mentions(refused("supply.mains_v=1000"), "300"));
    CHECK(p.ramp_height_ohm == demo_board().ramp_height_ohm);
}

TEST_CASE("An endless nest of brackets in a board file is an error and no overflow of the stack") {
    // 400,000 levels; the stack of 8 MB has 20 bytes for each, less than any call needs.
    const std::string deep = std::string(400000, '[') + std::string(400000, ']');
    const std::string head = R"("name":"n","text":"t","base":"quillwood13.json",)";
    const std::string whole = R"({"schema":1,"kind":"yokedock-board",)" + head;
    for (const std::string& text :
         {R"({"schema":1,"kind":)" + deep + "," + head + R"("parameters":{}})",
          R"({"kind":"yokedock-board","schema":)" + deep + "," + head + R"("parameters":{}})",
          whole + R"("parameters":)" + deep + "}", whole + R"("parameters":{"ramp":)" + deep + "}}",
          whole + R"("parameters":{"ramp":{"height_ohm":)" + deep + "}}}",
          R"({"schema":1,"kind":"yokedock-board","name":"n","text":"t","base":)" + deep +
              R"(,"parameters":{}})"}) {
        const auto r = parse_board(text, "x.json", YOKEDOCK_BOARDS);
        REQUIRE_FALSE(r.ok());
        CHECK(r.error().kind == ErrorKind::kFile);
        CHECK(r.error().text.size() < 1000);
    }
}

TEST_CASE("A broken board file names file, key and cure") {
    const auto error = [](const std::string& text) {
        const auto r = parse_board(text, "x.json", YOKEDOCK_BOARDS);
        REQUIRE_FALSE(r.ok());
        CHECK(r.error().kind == ErrorKind::kFile);
        CHECK(mentions(r.error(), "x.json"));
        return r.error();
    };
    const std::string head = R"({"schema":1,"kind":"yokedock-board","name":"n","text":"t",)";
    error("{");
    error("[1]");
    CHECK(mentions(error(R"({"schema":2,"kind":"yokedock-board"})"), "2"));
    CHECK(mentions(error(head + R"("parameters":{}})"), "sync.amplitude_v"));
    CHECK(mentions(
        error(head + R"("base":"quillwood13.json","parameters":{"ramp":{"hight_ohm":1}}})"),
        "ramp.hight_ohm"));
    CHECK(mentions(
        error(head + R"("base":"quillwood13.json","parameters":{"ramp":{"height_ohm":"1"}}})"),
        "number"));
    CHECK(mentions(error(head + R"("base":"quillwood13.json","parameters":{"ramp":3}})"), "ramp"));
    CHECK(mentions(error(head + R"("colour":1,"parameters":{}})"), "colour"));
    for (const char* base : {"/dev/zero", "."}) { // no end, and no file
        const auto r = parse_board(head + R"("base":")" + base + R"(","parameters":{}})", "x.json",
                                   YOKEDOCK_BOARDS);
        REQUIRE_FALSE(r.ok());
        CHECK(mentions(r.error(), "plain file"));
    }
    const auto missing =
        parse_board(head + R"("base":"nowhere.json","parameters":{}})", "x.json", YOKEDOCK_BOARDS);
    REQUIRE_FALSE(missing.ok());
    CHECK(mentions(missing.error(), "nowhere.json"));
    CHECK(parse_board(head + R"("base":"quillwood13.json","parameters":{}})", "x.json",
                      YOKEDOCK_BOARDS)
              .ok());
}

TEST_CASE("Scattered boards repeat with their seed, spread as the tolerances say, and change no "
          "condition") {
    const BoardParameters p = demo_board();
    const BoardParameters a = scatter(p, 7);
    const BoardParameters b = scatter(p, 7);
    double squares = 0;
    int count = 0;
    for (const ParameterInfo& info : parameter_table()) {
        CHECK(a.*(info.member) == b.*(info.member));
        const bool control = info.path.ends_with(".hold_ohm") || info.path.ends_with(".height_ohm");
        if (info.tolerance == 0 && !control) {
            CHECK(a.*(info.member) == p.*(info.member));
        }
    }
    for (std::uint32_t seed = 0; seed < 50; ++seed) {
        const BoardParameters s = scatter(p, seed);
        for (const ParameterInfo& info : parameter_table()) {
            const double nominal = p.*(info.member);
            if (info.tolerance > 0 && nominal != 0) {
                const double z = (s.*(info.member) / nominal - 1) / info.tolerance;
                squares += z * z;
                ++count;
            }
        }
    }
    // The sd of a sample variance of n normal draws is sqrt(2 / n): 4 of them.
    CHECK(squares / count == Approx(1.0).margin(4 * std::sqrt(2.0 / count)));
}
