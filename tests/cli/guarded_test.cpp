// SPDX-License-Identifier: MIT
// The bench switches the board's supply: a healthy board is measured, four that would lose a part
// are stopped behind the soft-start resistor, the loads are checked, and the bench is calibrated.
#include "tests/cli/fixture.hpp"
#include "tests/cli/virtual_bench.hpp"
#include <algorithm>
#include <nlohmann/json.hpp>
#include <sstream>

using Catch::Contains;
using Json = nlohmann::json;

namespace {

const std::string kBoards = std::string(YOKEDOCK_SOURCE_FOLDER) + "/demo/boards/";

std::vector<std::string> guarded(std::vector<std::string> words) {
    for (const char* word : {"--simulated", "--profile", "", "--nothing-changed", "--confirm",
                             "tube_discharged", "--confirm", "anode_lead", "--quiet-cautions"}) {
        words.emplace_back(*word != '\0' ? word : kBoards + "quillwood13.profile.json");
    }
    return words;
}

} // namespace

TEST_CASE("boards that would lose a part are stopped behind the soft-start resistor, in words, and "
          "the IC survives") {
    struct Row {
        const char* board;
        std::vector<const char*> words; ///< what was seen, what to look at, which part
    };
    const std::vector<Row> rows = {
        {"quillwood13_ic_reversed",
         {"A; expected at most supply_idle_max_a", "backwards", "IC401"}},
        {"quillwood13_yoke_off", {"no current in the vertical load", "yoke or load plug", "CN401"}},
        {"quillwood13_supply_high",
         {"what feeds the soft start is 28.", "transformer tap", "T101"}},
        {"quillwood13_yoke_shorted", {"looks like a short", "shorted yoke", "L401"}},
    };
    for (const Row& row : rows) {
        INFO(row.board);
        const TempFolder folder;
        VirtualBench bench({"--board", kBoards + row.board + ".json"}, "relays");
        const Finished run =
            yokedock(guarded({"measure", "--bench", bench.address(), "--out", "r.json"}), folder);
        INFO(run.err);
        CHECK(run.exit_code == 4);
        CHECK_THAT(run.err, Contains("in stage \"starting\"") && Contains("supply off, confirmed"));
        CHECK_THAT(run.err, !Contains("supply live"));
        for (const char* words : row.words) {
            CHECK_THAT(run.err, Contains(words));
        }
        CHECK_THAT(bench.end(), Contains("vertical output IC: survived"));
    }
}

TEST_CASE(
    "more current than a short can draw through the soft-start resistor points at the supply") {
    const TempFolder folder;
    const VirtualBench bench({"--fault", "supply_high"}, "relays");
    const Finished run =
        yokedock(guarded({"measure", "--bench", bench.address(), "--out", "r.json"}), folder);
    INFO(run.err);
    CHECK(run.exit_code == 4);
    CHECK_THAT(run.err, Contains("measure the supply with the board unplugged") &&
                            Contains("T101") && !Contains("IC401") &&
                            Contains("supply off, confirmed"));
}

TEST_CASE("a healthy board comes up guarded, is measured, and is off afterwards") {
    const TempFolder folder;
    VirtualBench bench({}, "relays");
    const Finished run =
        yokedock(guarded({"measure", "--bench", bench.address(), "--out", "r.json"}), folder);
    INFO(run.err);
    CHECK(run.exit_code == 0);
    CHECK_THAT(run.err, Contains("supply settled") && Contains("supply off, confirmed"));
    CHECK_THAT(run.out, Contains("BENCH NOT CALIBRATED"));
    const Json record = Json::parse(folder.read("r.json"));
    CHECK(record.at("power").at("stages").size() == 5);
    CHECK_THAT(bench.end(), Contains("survived"));
}

namespace {

/// A coarse sweep of the line rate, guarded.
std::vector<std::string> coarse_sweep(const std::string& address,
                                      std::vector<std::string> more = {}) {
    std::vector<std::string> words{"sweep",      "--bench",   address,  "--axis",
                                   "horizontal", "--step-hz", "200",    "--resolution-hz",
                                   "50",         "--log",     "s.jsonl"};
    words.insert(words.end(), more.begin(), more.end());
    return guarded(words);
}

std::vector<Json> log_lines(const TempFolder& folder) {
    std::vector<Json> lines;
    std::istringstream in(folder.read("s.jsonl"));
    for (std::string line; std::getline(in, line);) {
        lines.push_back(Json::parse(line));
    }
    return lines;
}

long count_kind(const std::vector<Json>& lines, const char* kind) {
    return std::count_if(lines.begin(), lines.end(),
                         [&](const Json& line) { return line.at("kind") == kind; });
}

} // namespace

TEST_CASE("a sweep switches a healthy board on by stages, guards it, and is off afterwards") {
    const TempFolder folder;
    VirtualBench bench({}, "relays");
    const Finished run =
        yokedock(coarse_sweep(bench.address(), {"--no-returns", "--no-pull-in"}), folder);
    INFO(run.err << run.out);
    CHECK(run.exit_code == 0);
    CHECK_THAT(run.err, Contains("supply checked") && Contains("supply starting") &&
                            Contains("supply live") && Contains("supply off, confirmed"));
    CHECK_THAT(run.out, Contains("hold"));
    const auto lines = log_lines(folder);
    CHECK(lines.front().at("power").at("supply") == "bench");
    CHECK(lines.front().at("power").at("stages").size() == 5);
    CHECK(count_kind(lines, "step") > 5);
    CHECK(lines.back().at("kind") == "end");
    CHECK_THAT(bench.end(), Contains("survived"));
}

TEST_CASE("a board that trips in a sweep is switched off, and what was swept until then is kept") {
    const TempFolder folder;
    // The field output loses its drive as it warms up, after some 5 s: the sweep needs far longer.
    VirtualBench bench({"--board", kBoards + "quillwood13_fails_warm.json"}, "relays");
    const Finished run = yokedock(coarse_sweep(bench.address()), folder);
    INFO(run.err << run.out);
    CHECK(run.exit_code == 4);
    CHECK_THAT(run.err, Contains("supply live") && Contains("supply off, confirmed") &&
                            Contains("look first at") && Contains("yokedock-trip-") &&
                            Contains("the sweep was cut off") && Contains("--resume s.jsonl"));
    CHECK_THAT(run.out, Contains("INCOMPLETE"));
    const auto lines = log_lines(folder);
    CHECK(count_kind(lines, "step") >= 2);
    CHECK(count_kind(lines, "end") == 0);
    CHECK(lines.back().at("kind") == "stopped");
    const Finished shown = yokedock({"sweep", "--from", "s.jsonl"}, folder);
    CHECK(shown.exit_code <= 1);
    CHECK_THAT(shown.out, Contains("INCOMPLETE"));
    (void)bench.end();
}

TEST_CASE("check finds both loads of the demonstration right, and a yoke learned from them") {
    const TempFolder folder;
    const VirtualBench bench({}, "relays");
    const Finished run =
        yokedock({"check", "--bench", bench.address(), "--simulated", "--profile",
                  kBoards + "quillwood13.profile.json", "--learn", "yokes.json", "--json"},
                 folder);
    INFO(run.err << run.out);
    REQUIRE(run.exit_code == 0);
    const Json shown = Json::parse(run.out);
    CHECK(shown.at("calibrated") == false);
    // The board file's yokes, within 3 of the stated standard uncertainties.
    const std::map<std::string, double> truth = {{"v_load_resistance_ohm", 11},
                                                 {"v_load_inductance_h", 22e-3},
                                                 {"h_load_resistance_ohm", 0.3},
                                                 {"h_load_inductance_h", 320e-6}};
    std::size_t found = 0;
    for (const Json& load : shown.at("loads")) {
        CHECK(load.at("verdict") == "ok");
        for (const Json& figure : load.at("figures")) {
            const auto known = truth.find(figure.at("name").get<std::string>());
            if (known != truth.end()) {
                ++found;
                CHECK(std::abs(figure.at("value").get<double>() - known->second) <
                      3 * figure.at("u").get<double>());
            }
        }
    }
    CHECK(found == truth.size());
    CHECK_THAT(folder.read("yokes.json"), Contains("vertical") && Contains("horizontal"));
}

TEST_CASE(
    "check ends with 7 where nobody says what the load should be, and with 0 once it is learned") {
    const TempFolder folder;
    const VirtualBench bench({}, "relays");
    const auto check = [&](std::vector<std::string> more) {
        more.insert(more.begin(),
                    {"check", "--bench", bench.address(), "--simulated", "--load", "vertical"});
        return yokedock(more, folder);
    };
    const Finished alone = check({});
    INFO(alone.err << alone.out);
    CHECK(alone.exit_code == 7);
    CHECK_THAT(alone.out, Contains("not sure"));
    CHECK(check({"--learn", "yoke.json"}).exit_code == 0);
    CHECK(check({"--learned", "yoke.json"}).exit_code == 0);
}

TEST_CASE(
    "right after a run the same bench checks its loads and runs again, without waiting by hand") {
    const TempFolder folder;
    const VirtualBench bench({}, "relays");
    const auto run = [&] {
        return yokedock(guarded({"run", "--bench", bench.address(), "--duration-s", "0.2"}),
                        folder);
    };
    CHECK(run().exit_code == 0);
    const Finished again = run();
    INFO(again.err);
    CHECK(again.exit_code == 0);
    const Finished check = yokedock({"check", "--bench", bench.address(), "--load", "horizontal",
                                     "--profile", kBoards + "quillwood13.profile.json"},
                                    folder);
    INFO(check.err);
    CHECK(check.exit_code == 0);
}

TEST_CASE("a calibration is stored in the bench, outlives it, and every table says so") {
    const TempFolder folder;
    const std::vector<std::string> keep = {"--eeprom", (folder.path() / "bench.eeprom").string()};
    {
        VirtualBench bench(keep, "relays");
        const auto calibrate = [&](std::vector<std::string> words) {
            words.insert(words.begin(), {"calibrate", "--bench", bench.address(), "--simulated",
                                         "--file", "b.json"});
            return yokedock(words, folder);
        };
        // With the supply off no current flows in the load: that is known.
        const Finished no_serial =
            calibrate({"--channel", "v_yoke_a", "--true", "0", "--true-u", "0.001", "--store"});
        INFO(no_serial.err);
        CHECK(no_serial.exit_code != 0);
        CHECK_THAT(no_serial.err, Contains("--give-serial"));
        const Finished stored = calibrate({"--channel", "v_yoke_a", "--true", "0", "--true-u",
                                           "0.01", "--store", "--give-serial", "7001"});
        INFO(stored.err);
        REQUIRE(stored.exit_code == 0);
        (void)bench.end();
    }
    VirtualBench again(keep, "relays");
    const Finished shown = yokedock({"calibrate", "--bench", again.address(), "--show"}, folder);
    INFO(shown.err << shown.out);
    CHECK(shown.exit_code == 0);
    CHECK_THAT(shown.out, Contains("7001") && Contains("v_yoke_a"));
}

TEST_CASE("a bench that gets its number keeps its points under it, and the next ones join them") {
    const TempFolder folder;
    const VirtualBench bench({}, "relays");
    const auto calibrate = [&](std::vector<std::string> words) {
        words.insert(words.begin(), {"calibrate", "--bench", bench.address(), "--simulated"});
        const Finished run = yokedock(words, folder);
        INFO(run.err);
        CHECK(run.exit_code == 0);
        return run;
    };
    calibrate({"--channel", "v_yoke_a", "--true", "0", "--true-u", "0.01"});
    calibrate({"--store", "--give-serial", "7001"});
    calibrate({"--channel", "h_yoke_a", "--true", "0", "--true-u", "0.01", "--store"});
    const Finished shown = calibrate({"--show"});
    INFO(shown.out);
    CHECK_THAT(shown.out,
               !Contains("v_yoke_a    not calibrated") && !Contains("h_yoke_a    not calibrated"));
}
