// SPDX-License-Identifier: MIT
// The dialogue of `profile new` with a person stood in for, and `profile from` on records of boards
// that are locked, or not.
#include "host/cli/profile_form.hpp"
#include "host/record/record.hpp"
#include "tests/unit/analysis/synthetic_board.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <deque>
#include <sstream>

using namespace yokedock;
using namespace yokedock::cli;
using Catch::Contains;

namespace {

struct Run {
    int code;
    std::string out;
    std::string err;
    std::size_t unread; ///< answers that nobody asked for
};

Run run(const std::vector<std::string>& arguments, std::deque<std::string> answers,
        bool terminal = true) {
    std::ostringstream out;
    std::ostringstream err;
    Seams seams{out,
                err,
                false,
                false,
                {},
                [](const std::string&) -> Result<bench::Bench> {
                    return Error{ErrorKind::kLink, "test"};
                },
                [] { return std::vector<link::SerialPortInfo>{}; },
                [] { return std::string("2026-01-31T09:36:12Z"); },
                [] { return 0.0; },
                [](const std::string&) { return std::string(); },
                terminal,
                [&answers]() -> std::optional<std::string> {
                    if (answers.empty()) {
                        return std::nullopt;
                    }
                    std::string first = answers.front();
                    answers.pop_front();
                    return first;
                }};
    const int code = run_yokedock(arguments, seams);
    return {code, out.str(), err.str(), answers.size()};
}

record::Profile written(const TempFolder& folder, const std::string& name) {
    const auto profile = record::load_profile(folder.file(name));
    INFO((profile ? std::string() : profile.error().text));
    REQUIRE(profile);
    return profile.value();
}

/// A record of a synthetic board; figures are made anew when it is read.
std::string save(const TempFolder& folder, const std::string& name, const synthetic::Board& board,
                 const std::string& standard = "262", bool complete = true) {
    record::Record record;
    record.tool_version = "test";
    record.time_utc = "2026-01-31T09:36:12Z";
    record.standard = standard;
    record.complete = complete;
    record.imported = record::ImportedData{{"synthetic"}, board.observe()};
    const auto saved = record::save_record(record, folder.file(name), record::IfExists::kReplace);
    REQUIRE(saved);
    return folder.file(name);
}

} // namespace

TEST_CASE("on a terminal every field is asked for by name, with unit and range; Enter takes the "
          "default") {
    const TempFolder folder;
    std::deque<std::string> answers{"Quillwood 13"};
    answers.resize(60, ""); // the rest as proposed
    const Run done = run({"profile", "new", "--out", folder.file("p.json")}, answers);
    INFO(done.err);
    REQUIRE(done.code == 0);
    CHECK_THAT(done.err, Contains("limits.supply_max_v: rail above which") &&
                             Contains("1 to 61.25 V") && Contains("[525/59.94] >"));
    const record::Profile profile = written(folder, "p.json");
    CHECK(profile.name == "Quillwood 13");
    CHECK(profile.standard == "525/59.94");
    CHECK(profile.live_to_mains == true); // the careful answer
    CHECK(profile.own_line_output_transformer == true);
    CHECK_FALSE(profile.limits.supply_max_v);
    CHECK(profile.limits.v_retrace_missing_ms == 50);            // three fields of 59.94 Hz
    CHECK(profile.limits.line_rate_min_hz == 14161);             // 0.9 of 15734.27 Hz
    CHECK_THAT(done.err, !Contains("line_rate_hz: line rate;")); // the standard tells it
    CHECK_THAT(done.err, !Contains("visible_to_us"));            // no begin, no end
}

TEST_CASE("a wrong answer is told and asked again at once") {
    const TempFolder folder;
    // name, standard twice, live, own, windows and S (4: no ends asked), supply_min, supply_max
    // three times, then as proposed.
    std::deque<std::string> answers{"", "Q", "405/50", "625/50", "perhaps", "no",    "y",   "",
                                    "", "",  "",       "22",     "21",      "24000", " 26 "};
    answers.resize(60, "");
    const Run done = run({"profile", "new", "--out", folder.file("p.json")}, answers);
    INFO(done.err);
    REQUIRE(done.code == 0);
    CHECK_THAT(done.err, Contains("\"405/50\"") && Contains("\"perhaps\"") &&
                             Contains("more than supply_min_v, which is 22") &&
                             Contains("\"24000\""));
    const record::Profile profile = written(folder, "p.json");
    CHECK(profile.standard == "625/50");
    CHECK(profile.live_to_mains == false);
    CHECK(profile.limits.supply_min_v == 22);
    CHECK(profile.limits.supply_max_v == 26);
}

TEST_CASE("what was given as an option is not asked for; with all that is needed nothing is") {
    const TempFolder folder;
    const std::vector<std::string> all{"profile",
                                       "new",
                                       "--out",
                                       folder.file("p.json"),
                                       "--name",
                                       "Q",
                                       "--standard",
                                       "262",
                                       "--live-to-mains",
                                       "no",
                                       "--own-line-output-transformer",
                                       "no"};
    const Run none = run(all, {});
    CHECK(none.code == 0);
    CHECK_THAT(none.err, !Contains(" > "));
    auto asked = all;
    asked.insert(asked.end(), {"--ask", "--force", "--supply-max-v", "30"});
    std::deque<std::string> answers(60, "");
    const Run again = run(asked, answers);
    CHECK(again.code == 0);
    CHECK_THAT(again.err, !Contains("name: of the board type") && !Contains("supply_max_v: ") &&
                              Contains("supply_min_v: "));
}

TEST_CASE("a time without its voltage is asked for, and both can be given up") {
    const TempFolder folder;
    const std::vector<std::string> given{"profile", "new",
                                         "--out",   folder.file("p.json"),
                                         "--ask",   "--name",
                                         "Q",       "--standard",
                                         "262",     "--live-to-mains",
                                         "no",      "--own-line-output-transformer",
                                         "no",      "--soft-start-ms",
                                         "400"};
    const Run done =
        run(given, std::deque<std::string>(60, "")); // Enter: soft_start_min_v left out
    INFO(done.err);
    CHECK(done.code == 0);
    CHECK_THAT(done.err, Contains("limits.soft_start_min_v is missing"));
    CHECK_FALSE(written(folder, "p.json").limits.soft_start_ms);
}

TEST_CASE("an input that ends in the middle writes nothing") {
    const TempFolder folder;
    const Run cut = run({"profile", "new", "--out", folder.file("p.json")}, {"Q", "625/50"});
    CHECK_THAT(cut.err, Contains("no profile was written"));
    CHECK(folder.entries() == 0);
}

TEST_CASE("good boards that are locked make a profile with the spread between them") {
    const TempFolder folder;
    std::vector<std::string> arguments{"profile",   "from",  "--name",
                                       "synthetic", "--out", folder.file("p.json")};
    const std::vector<double> sizes{0.35, 0.36, 0.34, 0.355};
    for (std::size_t i = 0; i < sizes.size(); ++i) {
        synthetic::Board board;
        board.v_peak = sizes[i];
        board.seed = static_cast<unsigned>(i + 1);
        arguments.push_back(save(folder, std::to_string(i) + ".json", board));
    }
    const Run done = run(arguments, {}, false);
    INFO(done.err);
    REQUIRE(done.code == 0);
    CHECK_THAT(done.err, Contains("4 boards tell little") && Contains("3.2 times"));
    const record::ExpectedFigure swing = written(folder, "p.json").expected.at("v_yoke_swing_a");
    CHECK(swing.boards == 4);
    // Twice the mean peak; half a percent for noise and the analysis' own uncertainty.
    CHECK(swing.value == Approx(2 * 0.35125).epsilon(0.005));
    // Standard deviation of the four sizes is 0.00854; noise of 2 mV at 1.25 V/A adds less than a
    // twentieth of it to each extreme.
    CHECK(*swing.spread == Approx(2 * 0.00854).epsilon(0.15));
    CHECK(written(folder, "p.json").expected.at("v_locked").value == 1);
}

TEST_CASE("records that do not belong together, or are no proof of a good board, are refused") {
    const TempFolder folder;
    synthetic::Board other;
    other.seed = 7;
    other.v_peak = 0.36;
    synthetic::Board rolls;
    rolls.vertical_rate = 1.02;
    const std::string good = save(folder, "good.json", {});
    const std::string second = save(folder, "second.json", other);
    const std::string plain = save(folder, "plain.json", other, "262-plain");
    const std::string part = save(folder, "part.json", other, "262", false);
    const std::string rolling = save(folder, "rolling.json", rolls);
    const auto from = [&](const std::vector<std::string>& more) {
        std::vector<std::string> arguments{"profile", "from",  "--name",
                                           "x",       "--out", folder.file("p.json")};
        arguments.insert(arguments.end(), more.begin(), more.end());
        return run(arguments, {}, false);
    };
    const auto refused = [&](const std::vector<std::string>& more, const std::string& why) {
        const Run result = from(more);
        CHECK(result.code == 5);
        CHECK_THAT(result.err, Contains(why));
        CHECK_FALSE(std::filesystem::exists(folder.file("p.json")));
    };
    refused({good, plain}, "records of one standard");
    refused({good, plain, "--any-record"}, "records of one standard");
    refused({good, good}, "hold the same measurement");
    refused({good, part}, "is incomplete");
    refused({good, rolling}, "the vertical was not locked");
    refused({good, folder.file("none.json")}, "No such file");
    // A limit that the good boards exceed: profile or boards are wrong.
    (void)folder.write("tight.json", R"({"schema": 2, "name": "x", "standard": "262",
        "limits": {"supply_max_v": 23}})");
    refused({good, second, "--profile", folder.file("tight.json")}, "do not fit the profile");
    (void)folder.write("fifty.json", R"({"schema": 2, "name": "x", "standard": "312"})");
    refused({good, "--profile", folder.file("fifty.json")}, "expected the same");
    CHECK(from({good, part, "--any-record"}).code == 0);
}

TEST_CASE("options and keys of the form are each other's, none twice") {
    std::map<std::string, int> options;
    for (const FormField& field : form_fields()) {
        CHECK(++options[field.option] == 1);
    }
    CHECK(options.count("--supply-max-v") == 1);
    CHECK(options.count("--vertical-yoke-inductance-h") == 1);
    CHECK(options.count("--horizontal-visible-to-us") == 1);
    CHECK(options.size() == form_fields().size());
}
