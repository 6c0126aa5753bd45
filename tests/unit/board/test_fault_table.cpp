// SPDX-License-Identifier: MIT
// The fault table: names, and what each fault does to the components.
#include "board_fixture.hpp"
#include "demo/virtual_bench/board/faults.hpp"
#include "host/record/part_roles.hpp"
#include <algorithm>
#include <cmath>
#include <set>

using namespace yokedock;
using namespace yokedock::sim;

namespace {

bool mentions(const Error& error, const std::string& word) {
    return error.text.find(word) != std::string::npos;
}

bool lists(const Fault& fault, double BoardParameters::*member) {
    return std::any_of(fault.changes.begin(), fault.changes.end(),
                       [member](const FaultChange& change) { return change.member == member; });
}

ChangeKind kind_of(const Fault& fault, double BoardParameters::*member) {
    return std::find_if(fault.changes.begin(), fault.changes.end(),
                        [member](const FaultChange& change) { return change.member == member; })
        ->kind;
}

std::string error_of(const std::string& faults) {
    const auto read = parse_board(
        R"({"schema":1,"kind":"yokedock-board","name":"n","text":"t","base":"quillwood13.json","parameters":{},"faults":)" +
            faults + "}",
        "x.json", YOKEDOCK_BOARDS);
    REQUIRE_FALSE(read.ok());
    CHECK(read.error().kind == ErrorKind::kFile);
    CHECK(mentions(read.error(), "x.json"));
    return read.error().text;
}

bool has(const std::string& text, const char* word) {
    return text.find(word) != std::string::npos;
}

} // namespace

TEST_CASE("Faults have names of their own, sections of the parts list and at least one component") {
    std::set<std::string_view> ids;
    for (const Fault& fault : fault_table()) {
        CAPTURE(fault.id);
        CHECK(ids.insert(fault.id).second);
        CHECK(find_fault(fault.id) == &fault);
        CHECK_FALSE(fault.text.empty());
        CHECK(
            std::any_of(std::begin(record::kSections), std::end(record::kSections),
                        [&](const record::SectionRow& row) { return fault.section == row.word; }));
        CHECK(fault.changes[0].member != nullptr);
    }
    CHECK(ids.size() >= 30);
    for (const record::SectionRow& row : record::kSections) { // all blocks of a board can fail
        INFO(row.word);
        CHECK(std::any_of(fault_table().begin(), fault_table().end(),
                          [&](const Fault& fault) { return fault.section == row.word; }));
    }
}

TEST_CASE("A fault changes its own components only, the more the severer, and stays in range") {
    const BoardParameters healthy = demo_board();
    for (const Fault& fault : fault_table()) {
        CAPTURE(fault.id);
        std::vector<BoardParameters> boards;
        for (const double severity : {0.0, 0.25, 0.5, 0.75, 1.0}) {
            boards.push_back(healthy);
            apply_fault(boards.back(), fault, severity);
        }
        for (const ParameterInfo& info : parameter_table()) {
            CAPTURE(info.path);
            const double good = healthy.*info.member;
            if (!lists(fault, info.member)) {
                for (const BoardParameters& bad : boards) {
                    CHECK(bad.*info.member == good);
                }
                continue;
            }
            const bool set = kind_of(fault, info.member) == ChangeKind::kSet;
            const double first = set ? boards[0].*info.member : good;
            const bool down = boards.back().*info.member < first;
            double before = first;
            for (const BoardParameters& bad : boards) {
                const double value = bad.*info.member;
                // What is set (a switch is thrown) may stay; all else moves further each time.
                CHECK(value != good);
                CHECK(((set && value == before) || (down ? value < before : value > before)));
                CHECK(value >= info.low);
                CHECK(value <= info.high);
                before = value;
            }
        }
        BoardParameters none = healthy;
        apply_fault(none, fault, 1, 0);
        for (const ParameterInfo& info : parameter_table()) {
            CHECK(none.*info.member == healthy.*info.member);
        }
    }
}

TEST_CASE("Half of a fault is less than all of it") {
    const BoardParameters healthy = demo_board();
    BoardParameters p = healthy;
    apply_fault(p, *find_fault("v_coupling_dried"), 1, 0.5); // scaled: the root of the factor
    CHECK(p.vertical_output_coupling_f ==
          Approx(healthy.vertical_output_coupling_f * std::sqrt(0.03)));
    p = healthy;
    apply_fault(p, *find_fault("h_joint_bad"), 1, 0.5); // in series: half
    CHECK(p.line_yoke_plug_ohm == Approx(2));
    p = healthy;
    apply_fault(p, *find_fault("ramp_cap_leaky"), 1, 0.5); // in parallel: half the conductance
    CHECK(1 / p.ramp_leak_ohm == Approx(1 / healthy.ramp_leak_ohm + 0.5 / 150e3));
    p = healthy;
    apply_fault(p, *find_fault("v_ic_reversed"), 1, 0.4); // a switch: not yet
    CHECK(p.vertical_ic_reversed == 0);
}

TEST_CASE("Two faults on one board are there both, in either order") {
    BoardParameters ab = demo_board();
    REQUIRE(apply_fault(ab, "boost_cap_open", 0.3).ok());
    REQUIRE(apply_fault(ab, "boost_cap_wrong_value", 0.6).ok());
    BoardParameters ba = demo_board();
    REQUIRE(apply_fault(ba, "boost_cap_wrong_value", 0.6).ok());
    REQUIRE(apply_fault(ba, "boost_cap_open", 0.3).ok());
    const double amounts = change_amount(find_fault("boost_cap_open")->changes[0], 0.3) *
                           change_amount(find_fault("boost_cap_wrong_value")->changes[0], 0.6);
    CHECK(ab.vertical_output_boost_f ==
          Approx(amounts * demo_board().vertical_output_boost_f).epsilon(1e-12));
    CHECK(ab.vertical_output_boost_f == Approx(ba.vertical_output_boost_f).epsilon(1e-12));
}

TEST_CASE("A fault on the command line: its name, its severity, and what was meant") {
    CHECK(parse_fault("afc_open").value().severity == 1);
    CHECK(parse_fault("afc_open=0.25").value().severity == 0.25);
    CHECK(parse_fault("afc_open=0").value().fault == find_fault("afc_open"));
    CHECK(parse_fault("ic_fails_warm").value().heat.has_value());
    const auto refused = [](const char* text) {
        const auto use = parse_fault(text);
        REQUIRE_FALSE(use.ok());
        CHECK(use.error().kind == ErrorKind::kUsage);
        return use.error();
    };
    CHECK(mentions(refused("v_copling_dried=0.5"), "did you mean \"v_coupling_dried\"?"));
    CHECK(mentions(refused("boost_open"), "did you mean \"boost_cap_open\"?"));
    CHECK_FALSE(mentions(refused("qqqq"), "did you mean"));
    CHECK(mentions(refused("qqqq"), "--list-faults"));
    CHECK(mentions(refused(""), "--list-faults"));
    CHECK(refused(std::string(100000, 'v').c_str()).text.size() < 200);
    CHECK(mentions(refused("afc_open=1.5"), "1.5"));
    CHECK(mentions(refused("afc_open=nan"), "nan"));
    CHECK(mentions(refused("afc_open=much"), "\"much\""));
    CHECK(mentions(refused("afc_open="), "afc_open=0.5"));
    FaultyBoard board{demo_board(), {}, {}};
    REQUIRE(fit_fault(board, parse_fault("afc_open").value()).ok());
    const Status twice = fit_fault(board, parse_fault("afc_open=0.5").value());
    REQUIRE_FALSE(twice.ok());
    CHECK(mentions(twice.error(), "twice"));
}

TEST_CASE("Faults in a board file: steady ones are in the values, the others beside them") {
    const auto read = parse_board(
        R"({"schema":1,"kind":"yokedock-board","name":"n","text":"t","base":"quillwood13.json","parameters":{},
            "faults":[{"fault":"v_coupling_dried","severity":0.5},{"fault":"afc_open"},
                      {"fault":"h_joint_bad","intermittent":{"on_s":2,"off_s":5,"seed":7}},
                      {"fault":"boost_cap_open","severity":0.2,"heat":{"from_c":50,"to_c":40}}]})",
        "x.json", YOKEDOCK_BOARDS);
    REQUIRE(read.ok());
    const BoardFile& file = read.value();
    CHECK(file.fitted.size() == 4);
    BoardParameters expected = demo_board();
    REQUIRE(apply_fault(expected, "v_coupling_dried", 0.5).ok());
    REQUIRE(apply_fault(expected, "afc_open", 1).ok());
    for (const ParameterInfo& info : parameter_table()) {
        CAPTURE(info.path);
        CHECK(file.parameters.*info.member == expected.*info.member);
    }
    REQUIRE(file.live.size() == 2);
    CHECK(file.live[0].fault == find_fault("h_joint_bad"));
    CHECK(file.live[0].severity == 1);
    CHECK(file.live[0].intermittent->on_s == 2);
    CHECK(file.live[0].intermittent->off_s == 5);
    CHECK(file.live[0].intermittent->seed == 7);
    CHECK(file.live[1].severity == 0.2);
    CHECK(file.live[1].heat->from_c == 50);
    CHECK(file.live[1].heat->to_c == 40);
}

TEST_CASE("A wrong list of faults in a board file names entry, key and cure") {
    CHECK(has(error_of("3"), "faults is 3; expected an array"));
    CHECK(has(error_of("[3]"), "faults[0] is 3"));
    CHECK(has(error_of("[{}]"), "faults[0].fault is null"));
    CHECK(has(error_of(R"([{"fault":"afc_opne"}])"), "did you mean \"afc_open\"?"));
    CHECK(has(error_of(R"([{"fault":"afc_open","severity":2}])"),
              "faults[0].severity is 2; expected a number from 0 to 1"));
    CHECK(has(error_of(R"([{"fault":"afc_open","severity":"x"}])"), "\"x\""));
    CHECK(has(error_of(R"([{"fault":"afc_open","sevrity":1}])"), "unknown key \"sevrity\""));
    CHECK(has(error_of(R"([{"fault":"afc_open"},{"fault":"afc_open"}])"), "given twice"));
    CHECK(has(error_of(R"([{"fault":"afc_open","intermittent":{"on_s":1}}])"),
              "faults[0].intermittent.off_s is missing"));
    CHECK(has(error_of(R"([{"fault":"afc_open","intermittent":{"on_s":0,"off_s":1}}])"),
              "faults[0].intermittent.on_s is 0"));
    CHECK(has(error_of(R"([{"fault":"afc_open","intermittent":{"on_s":1,"off_s":1,"seed":1.5}}])"),
              "faults[0].intermittent.seed is 1.5"));
    CHECK(has(error_of(R"([{"fault":"afc_open","intermittent":4}])"), "on_s, off_s"));
    CHECK(has(error_of(R"([{"fault":"afc_open","heat":{"from_c":50,"to_c":50}}])"),
              "faults[0].heat.to_c is 50"));
    CHECK(has(error_of(R"([{"fault":"afc_open","heat":{"from_c":50}}])"), "to_c is missing"));
}
