// SPDX-License-Identifier: MIT
// yokedock profile, as a user runs it: no terminal on its input.
#include "tests/cli/fixture.hpp"
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using Catch::Contains;
using Json = nlohmann::json;

namespace {

const std::vector<std::string> kNew{"profile",
                                    "new",
                                    "--out",
                                    "p.json",
                                    "--name",
                                    "Quillwood 13",
                                    "--standard",
                                    "525/59.94",
                                    "--live-to-mains",
                                    "no",
                                    "--own-line-output-transformer",
                                    "yes"};

std::vector<std::string> with(std::vector<std::string> base, const std::vector<std::string>& more) {
    base.insert(base.end(), more.begin(), more.end());
    return base;
}

/// The words of a shell line; texts in double quotes stay together.
std::vector<std::string> words_of(const std::string& line) {
    std::vector<std::string> words;
    bool quoted = false;
    bool open = false;
    for (const char c : line) {
        if (c == '"') {
            quoted = !quoted;
        } else if (c == ' ' && !quoted) {
            open = false;
        } else {
            if (!open) {
                words.emplace_back();
                open = true;
            }
            words.back() += c;
        }
    }
    return words;
}

/// The last line of the help, without the program's name.
std::vector<std::string> example_of(const std::string& command, const TempFolder& folder) {
    const Finished help = yokedock({"profile", command, "--help"}, folder);
    CHECK(help.exit_code == 0);
    const std::string mark = "Example:\n  yokedock ";
    const auto at = help.out.find(mark);
    REQUIRE(at != std::string::npos);
    const auto begin = at + mark.size();
    return words_of(help.out.substr(begin, help.out.find('\n', begin) - begin));
}

} // namespace

TEST_CASE("the examples in the help of profile run as they stand, one after the other") {
    const TempFolder folder;
    CHECK(yokedock(example_of("new", folder), folder).exit_code == 0);
    CHECK(yokedock(example_of("check", folder), folder).exit_code == 0);
    const Finished show = yokedock(example_of("show", folder), folder);
    CHECK(show.exit_code == 0);
    CHECK_THAT(show.out, Contains("Quillwood 13") && Contains("supply_max_v") &&
                             Contains("26.5 V") && Contains("Not stated, so not guarded"));
    // Three scope files are no proof of lock, so the example as it stands is refused ...
    for (const char* number : {"1", "2", "3"}) {
        (void)folder.write("scope.csv", scope_csv("time_s,v_yoke_a"));
        REQUIRE(yokedock({"import", "scope.csv", "--standard", "525/59.94", "--scale",
                          std::string("v_yoke_a=1.0") + number, "--out",
                          std::string("good") + number + ".json"},
                         folder)
                    .exit_code == 0);
    }
    auto from = example_of("from", folder);
    const Finished refused = yokedock(from, folder);
    CHECK(refused.exit_code == 5);
    CHECK_THAT(refused.err, Contains("locked") && Contains("--any-record"));
    CHECK_FALSE(std::filesystem::exists(folder.file("learned.profile.json")));
    // ... and runs for someone who knows they are good.
    const Finished taken = yokedock(with(from, {"--any-record"}), folder);
    INFO(taken.err);
    CHECK(taken.exit_code == 0);
    const Json learned = Json::parse(folder.read("learned.profile.json"));
    const Json& size = learned.at("expected").at("v_yoke_pp_a");
    CHECK(size.at("boards") == 3);
    CHECK(size.at("basis") == "spread");
    // Scales of 1.01, 1.02 and 1.03 about the middle one: s is 1 % of the size.
    CHECK(size.at("spread").get<double>() ==
          Approx(0.01 / 1.02 * size.at("value").get<double>()).epsilon(0.02));
    CHECK(learned.at("limits").at("supply_max_v") == 26.5); // those of the profile given are kept
}

TEST_CASE("profile check names line and key of every mistake and ends with 5") {
    const TempFolder folder;
    (void)folder.write("p.json", "{\"schema\": 2, \"name\": \"x\",\n\"standard\": \"525/59.94\",\n"
                                 "\"limits\": {\"supply_max_v\": 240,\n\"suply_max_a\": 1}}\n");
    const Finished text = yokedock({"profile", "check", "p.json"}, folder);
    CHECK(text.exit_code == 5);
    CHECK_THAT(text.out, Contains("line 3: limits.supply_max_v is 240") &&
                             Contains("line 4: limits.suply_max_a") && Contains("supply_max_a, "));
    CHECK_THAT(text.err, Contains("2 mistakes"));
    const Finished json = yokedock({"profile", "check", "p.json", "--json"}, folder);
    CHECK(json.exit_code == 5);
    const Json parsed = Json::parse(json.out);
    CHECK(parsed.at("good") == false);
    CHECK(parsed.at("mistakes").at(1).at("line") == 4);
    (void)folder.write("cut.json", "{\"schema\": 2,\n\"name\": ");
    const Finished cut = yokedock({"profile", "check", "cut.json"}, folder);
    CHECK(cut.exit_code == 5);
    CHECK(cut.out.empty());
    CHECK_THAT(cut.err, Contains("line 2"));
    CHECK(yokedock({"profile", "check", "none.json"}, folder).exit_code == 5);
    CHECK(yokedock({"profile", "show", "p.json"}, folder).exit_code == 5);
}

TEST_CASE(
    "a profile by which the bench would switch nothing on is told so before any board hangs on "
    "it") {
    const TempFolder folder;
    (void)folder.write("p.json", R"({"schema": 2, "name": "Quillwood 13", "standard": "525/59.94",
                               "limits": {"supply_max_v": 26.5, "supply_max_a": 1}})");
    for (const char* command : {"check", "show"}) {
        const Finished run = yokedock({"profile", command, "p.json"}, folder);
        CHECK(run.exit_code == 0);
        CHECK_THAT(run.out, Contains("will not switch a supply on") &&
                                Contains("limits.soft_start_ms") &&
                                Contains("limits.supply_idle_max_a"));
    }
    const std::string whole =
        std::string(YOKEDOCK_SOURCE_FOLDER) + "/demo/boards/quillwood13.profile.json";
    CHECK_THAT(yokedock({"profile", "check", whole}, folder).out, !Contains("will not switch"));
}

TEST_CASE("profile new without a terminal names what is missing and what is wrong, and writes "
          "nothing") {
    const TempFolder folder;
    const Finished bare = yokedock({"profile", "new", "--out", "p.json"}, folder);
    CHECK(bare.exit_code == 2);
    CHECK_THAT(bare.err, Contains("--name") && Contains("--standard") &&
                             Contains("--live-to-mains") &&
                             Contains("--own-line-output-transformer"));
    const std::vector<std::vector<std::string>> wrong{
        {"--supply-max-v", "240"},
        {"--supply-max-v", "twelve"},
        {"--supply-max-v", "nan"},
        {"--supply-min-v", "26", "--supply-max-v", "25"},
        {"--vertical-visible-from-us", "1300"},
        {"--vertical-yoke-inductance-h", "22"},
        {"--line-rate-hz", "18000"},
        {"--ask"},
        {"--nosuch"},
    };
    for (const auto& options : wrong) {
        const Finished run = yokedock(with(kNew, options), folder);
        INFO(options[0] + " " + run.err);
        CHECK(run.exit_code == 2);
        CHECK(run.out.empty());
        CHECK_THAT(run.err, Contains(options[0].substr(0, 10)));
    }
    CHECK(yokedock({"profile"}, folder).exit_code == 2);
    CHECK_THAT(yokedock({"profile", "new"}, folder).err, Contains("yokedock profile new --help"));
    CHECK(folder.entries() == 0);
}

TEST_CASE("profile new and from never replace a file without --force") {
    const TempFolder folder;
    (void)folder.write("p.json", "precious");
    CHECK(yokedock(kNew, folder).exit_code == 5);
    (void)folder.write("scope.csv", scope_csv("time_s,v_yoke_a"));
    REQUIRE(yokedock({"import", "scope.csv", "--standard", "525/59.94", "--out", "r.json"}, folder)
                .exit_code == 0);
    CHECK(yokedock({"profile", "from", "r.json", "--any-record", "--name", "x", "--out", "p.json"},
                   folder)
              .exit_code == 5);
    CHECK(folder.read("p.json") == "precious");
    CHECK(yokedock(with(kNew, {"--force"}), folder).exit_code == 0);
    CHECK(yokedock({"profile", "check", "p.json"}, folder).exit_code == 0);
    // Rates in place of a standard.
    CHECK(yokedock({"profile", "new", "--out", "q.json", "--name", "x", "--line-rate-hz", "15700",
                    "--field-rate-hz", "60", "--live-to-mains", "yes",
                    "--own-line-output-transformer", "no"},
                   folder)
              .exit_code == 0);
}

TEST_CASE("profile from with one record says that its tolerances are defaults") {
    const TempFolder folder;
    (void)folder.write("scope.csv", scope_csv("time_s,v_yoke_a"));
    REQUIRE(yokedock({"import", "scope.csv", "--standard", "525/59.94", "--out", "r.json"}, folder)
                .exit_code == 0);
    const std::vector<std::string> from{"profile",      "from",  "r.json",
                                        "--any-record", "--out", "p.json"};
    CHECK_THAT(yokedock(from, folder).err, Contains("--name"));
    const Finished one = yokedock(with(from, {"--name", "Quillwood 13", "--json"}), folder);
    INFO(one.err);
    CHECK(one.exit_code == 0);
    CHECK_THAT(one.err, Contains("every tolerance is a default"));
    const Json json = Json::parse(one.out);
    CHECK(json.at("profile").at("expected").at("v_yoke_pp_a").at("basis") == "default");
    CHECK(json.at("profile").at("standard") == "525/59.94");
    CHECK_FALSE(json.at("left_out").empty());
}
