// SPDX-License-Identifier: MIT
// The program against the virtual bench: the real firmware image behind a socket.
#include "tests/cli/fixture.hpp"
#include "tests/cli/help_examples.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <csignal>
#include <filesystem>
#include <nlohmann/json.hpp>

using Catch::Contains;
using Json = nlohmann::json;

namespace {

const std::vector<std::string> kMeasure{"--standard",  "525/59.94", "--supply", "outside",
                                        "--simulated", "--out",     "r.json"};

std::vector<std::string> measure(const std::string& address, std::vector<std::string> more = {}) {
    std::vector<std::string> words{"measure", "--bench", address};
    words.insert(words.end(), kMeasure.begin(), kMeasure.end());
    words.insert(words.end(), more.begin(), more.end());
    return words;
}

/// The one file the folder holds is a whole record that says it is cut off.
void check_partial_record(const TempFolder& folder) {
    CHECK(folder.entries() == 1);
    const Json record = Json::parse(folder.read("r.json"));
    CHECK(record.at("complete") == false);
    CHECK(record.at("captures").size() >= 1);
    CHECK(yokedock({"analyse", "r.json"}, folder).exit_code == 0);
}

} // namespace

TEST_CASE("find says who answers at an address") {
    const TempFolder folder;
    const VirtualBench bench;
    const Finished text = yokedock({"find", bench.address()}, folder);
    CHECK(text.exit_code == 0);
    CHECK_THAT(text.out,
               Contains(bench.address()) && Contains("bench serial") && Contains("firmware"));
    const Finished json = yokedock({"find", bench.address(), "--json"}, folder);
    CHECK(Json::parse(json.out).at("benches").at(0).at("clock_hz") == 16000000);
}

TEST_CASE("measure saves a complete record, shows the cautions, and analyse finds the same figures "
          "again") {
    const TempFolder folder;
    const VirtualBench bench;
    const Finished run = yokedock(measure(bench.address(), {"--json"}), folder);
    INFO(run.err);
    REQUIRE(run.exit_code == 0);
    CHECK_THAT(run.err,
               Contains("CAUTION") && Contains("lethal") && Contains("measuring: vertical"));
    const Json shown = Json::parse(run.out);
    CHECK(shown.at("simulated") == true);
    CHECK(shown.at("complete") == true);
    CHECK(shown.at("standard") == "525/59.94");
    CHECK(folder.entries() == 1);
    const Json again = Json::parse(yokedock({"analyse", "r.json", "--json"}, folder).out);
    CHECK(again.at("figures") == shown.at("figures"));
    CHECK(again.at("figures") == Json::parse(folder.read("r.json")).at("figures"));
}

TEST_CASE("cautions can be left out by someone who has read them, and text output names the bench "
          "simulated") {
    const TempFolder folder;
    const VirtualBench bench;
    const Finished run = yokedock(measure(bench.address(), {"--quiet-cautions", "--plot"}), folder);
    CHECK(run.exit_code == 0);
    CHECK_THAT(run.err,
               !Contains("CAUTION") && Contains("record: r.json") && Contains("next: yokedock"));
    CHECK_THAT(run.out, Contains("SIMULATED BENCH") && Contains("Rates and lock"));
}

TEST_CASE("run shows one line per reading on a pipe and ends by itself when told to") {
    const TempFolder folder;
    const VirtualBench bench;
    const Finished run = yokedock(powered({"run", "--bench", bench.address(), "--standard",
                                           "525/59.94", "--duration-s", "0.1"}),
                                  folder);
    CHECK(run.exit_code == 0);
    CHECK_THAT(run.err, Contains("CAUTION"));
    CHECK_THAT(run.out, Contains(" s | V ") && Contains(" | H "));
    CHECK_THAT(run.out, !Contains("\r") && !Contains("\x1b"));
    const Finished json = yokedock(powered({"run", "--bench", bench.address(), "--standard",
                                            "525/59.94", "--duration-s", "0.1", "--json"}),
                                   folder);
    CHECK(Json::parse(json.out.substr(0, json.out.find('\n'))).at("schema") == 1);
}

TEST_CASE("Ctrl-C in run ends it well") {
    const TempFolder folder;
    const VirtualBench bench({"--pace"});
    Process run(YOKEDOCK_PROGRAM,
                powered({"run", "--bench", bench.address(), "--standard", "525/59.94"}));
    REQUIRE(run.wait_for(" s | V "));
    run.signal(SIGINT);
    CHECK(run.finish().exit_code == 0);
}

TEST_CASE("Ctrl-C in a run that was to last for a time is exit code 130") {
    const TempFolder folder;
    const VirtualBench bench({"--pace"});
    Process run(YOKEDOCK_PROGRAM, powered({"run", "--bench", bench.address(), "--standard",
                                           "525/59.94", "--duration-s", "3600"}));
    REQUIRE(run.wait_for(" s | V "));
    run.signal(SIGINT);
    CHECK(run.finish().exit_code == 130);
}

TEST_CASE("Ctrl-C in the middle of a measurement is exit code 130 and leaves a record of what was "
          "done so far") {
    const TempFolder folder;
    const VirtualBench bench({"--pace"});
    Process run(YOKEDOCK_PROGRAM, measure(bench.address()), folder.path().string());
    REQUIRE(run.wait_for("measuring: vertical"));
    run.signal(SIGINT);
    const Finished finished = run.finish();
    INFO(finished.err);
    CHECK(finished.exit_code == 130);
    CHECK_THAT(finished.err, Contains("record: r.json") && Contains("stopped by the user"));
    CHECK_THAT(finished.out, Contains("INCOMPLETE"));
    check_partial_record(folder);
}

TEST_CASE("Ctrl-C before the first capture is exit code 130 and leaves nothing behind") {
    const TempFolder folder;
    const VirtualBench bench({"--pace"});
    Process run(YOKEDOCK_PROGRAM, measure(bench.address(), {"--settle-s", "50"}),
                folder.path().string());
    REQUIRE(run.wait_for("sync on"));
    run.signal(SIGINT);
    CHECK(run.finish().exit_code == 130);
    CHECK(folder.entries() == 0);
}

TEST_CASE("a bench unplugged in mid-capture is exit code 3, and what was measured is kept") {
    const TempFolder folder;
    VirtualBench bench({"--pace"});
    Process run(YOKEDOCK_PROGRAM, measure(bench.address()), folder.path().string());
    REQUIRE(run.wait_for("measuring: vertical"));
    bench.unplug();
    const Finished finished = run.finish();
    CHECK(finished.exit_code == 3);
    CHECK_THAT(finished.err, Contains("cut off"));
    check_partial_record(folder);
}

TEST_CASE("the examples in the help run as they stand, with a person's answers where they ask") {
    const TempFolder folder;
    const VirtualBench bench;
    const VirtualBench guarded({}, "relays");
    std::filesystem::copy_file(std::string(YOKEDOCK_SOURCE_FOLDER) +
                                   "/demo/boards/quillwood13.profile.json",
                               folder.file("board.profile.json"));
    (void)folder.write("scope.csv", scope_csv("time_s,CH1"));
    (void)folder.write("scope2.csv", scope_csv("time_s,v_yoke_a"));
    REQUIRE(
        yokedock({"import", "scope2.csv", "--standard", "525/59.94", "--out", "good.json"}, folder)
            .exit_code == 0);
    std::size_t count = 0;
    for (const char* command : {"find", "measure", "analyse", "run", "import", "sweep"}) {
        for (std::vector<std::string> words :
             help_examples(yokedock({command, "--help"}, folder).out)) {
            REQUIRE(words.at(0) == command);
            const bool asks =
                std::find(words.begin(), words.end(), "board.profile.json") != words.end();
            for (std::string& word : words) {
                word = word == "tcp:127.0.0.1:4100" ? (asks ? guarded : bench).address() : word;
            }
            if (std::find(words.begin(), words.end(), "--out") != words.end()) {
                words.push_back("--force"); // the same name is used again
            }
            if (asks) {
                words.insert(words.end(), {"--nothing-changed", "--confirm", "tube_discharged",
                                           "--confirm", "anode_lead"});
            }
            if (asks && std::string(command) == "run") {
                words.insert(words.end(), {"--duration-s", "0.2"}); // in place of Ctrl-C
            }
            std::string line;
            for (const std::string& word : words) {
                line += word + ' ';
            }
            const Finished run = yokedock(words, folder);
            INFO(line << run.err);
            CHECK(run.exit_code == 0);
            ++count;
        }
    }
    CHECK(count == 10);
}
