// SPDX-License-Identifier: MIT
// `sweep` against the virtual bench.
#include "tests/cli/fixture.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <csignal>
#include <nlohmann/json.hpp>
#include <unistd.h>

using Catch::Contains;
using Json = nlohmann::json;

namespace {

/// A horizontal sweep coarse enough for a few seconds.
std::vector<std::string> sweep(const std::string& address, std::vector<std::string> more = {}) {
    std::vector<std::string> words{
        "sweep",      "--bench",         address,        "--standard", "525/59.94", "--axis",
        "horizontal", "--simulated",     "--no-returns", "--log",      "a.jsonl",   "--step-hz",
        "200",        "--resolution-hz", "50",           "--supply",   "outside"};
    words.insert(words.end(), more.begin(), more.end());
    return words;
}

std::vector<Json> lines_of(const std::string& text) {
    std::vector<Json> out;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) {
        out.push_back(Json::parse(line));
    }
    return out;
}

std::size_t count_kind(const std::vector<Json>& lines, const char* kind) {
    return static_cast<std::size_t>(std::count_if(
        lines.begin(), lines.end(), [&](const Json& line) { return line.at("kind") == kind; }));
}

/// Waits until the log holds this many complete lines.
void wait_for_lines(const TempFolder& folder, const std::string& name, long lines) {
    for (;;) {
        const std::string text = folder.read(name);
        if (std::count(text.begin(), text.end(), '\n') >= lines) {
            return;
        }
        ::usleep(5000);
    }
}

/// A cut-off log: usable by every command, and going on where it stopped.
void check_goes_on(const TempFolder& folder, const Finished& cut) {
    CHECK_THAT(cut.out, Contains("INCOMPLETE"));
    CHECK_THAT(cut.err, Contains("to go on where it stopped: yokedock sweep") &&
                            Contains("--resume a.jsonl"));
    const std::string before = folder.read("a.jsonl");
    const auto lines = lines_of(before);
    CHECK(count_kind(lines, "step") >= 2);
    CHECK(lines.back().at("kind") == "stopped");
    CHECK(yokedock({"sweep", "--from", "a.jsonl"}, folder).exit_code <= 1);
    const VirtualBench other; // the same board, started again
    const Finished resumed = yokedock({"sweep", "--bench", other.address(), "--resume", "a.jsonl",
                                       "--supply", "outside", "--quiet-cautions"},
                                      folder);
    INFO(resumed.err);
    CHECK(resumed.exit_code == 0);
    CHECK_THAT(resumed.out, !Contains("INCOMPLETE"));
    const std::string after = folder.read("a.jsonl");
    CHECK(after.compare(0, before.size(), before) == 0); // nothing of it was written again
    CHECK(lines_of(after.substr(before.size())).at(0).at("kind") == "resumed");
    CHECK(count_kind(lines_of(after), "end") == 1);
}

} // namespace

TEST_CASE("a sweep shows table and bar, and its log shows the same again without a bench") {
    const TempFolder folder;
    const VirtualBench bench;
    const Finished run =
        yokedock(sweep(bench.address(), {"--note", "as found", "--csv", "a.csv", "--svg", "a.svg",
                                         "--png", "a.png", "--plot"}),
                 folder);
    INFO(run.err);
    REQUIRE(run.exit_code == 0);
    CHECK_THAT(run.err, Contains("CAUTION") && Contains("far below nominal") &&
                            Contains("sweeping: horizontal, nominal") && Contains("log: a.jsonl") &&
                            Contains("next: yokedock sweep --from a.jsonl"));
    CHECK_THAT(run.out, Contains("SIMULATED BENCH") && Contains("note: as found") &&
                            Contains("hold, low") && Contains("  hold      ") &&
                            Contains("set rate 15734 Hz") && Contains("lock over the rate"));
    const auto lines = lines_of(folder.read("a.jsonl"));
    CHECK(lines.front().at("schema") == 1);
    CHECK(lines.front().at("sweeps").at(0).at("resolution_hz") == 50);
    CHECK(count_kind(lines, "end") == 1);
    const std::string csv = folder.read("a.csv");
    CHECK(static_cast<std::size_t>(std::count(csv.begin(), csv.end(), '\n')) ==
          count_kind(lines, "step") + 1);
    CHECK_THAT(folder.read("a.svg"), Contains("<svg") && Contains("way down"));
    CHECK(folder.read("a.png").substr(1, 3) == "PNG");

    const Finished again = yokedock({"sweep", "--from", "a.jsonl", "--plot"}, folder);
    CHECK(again.exit_code == 0);
    CHECK(again.out == run.out);
    const Json json = Json::parse(yokedock({"sweep", "--from", "a.jsonl", "--json"}, folder).out);
    CHECK(json.at("complete") == true);
    CHECK(json.at("sweeps").at(0).at("against").empty());
    CHECK(json.at("sweeps").at(0).at("hold_low") == lines.back().at("summary").at("hold_low"));
}

TEST_CASE("a log is never replaced unasked, and is begun before the first step only") {
    const TempFolder folder;
    const VirtualBench bench;
    (void)folder.write("a.jsonl", "precious");
    const Finished refused = yokedock(sweep(bench.address()), folder);
    CHECK(refused.exit_code == 5);
    CHECK_THAT(refused.err, Contains("--force") && !Contains("CAUTION"));
    CHECK(folder.read("a.jsonl") == "precious");
    CHECK(yokedock(sweep("tcp:127.0.0.1:1", {"--force"}), folder).exit_code == 3);
    CHECK(folder.read("a.jsonl") == "precious");
    CHECK(yokedock(sweep(bench.address(), {"--force", "--quiet-cautions"}), folder).exit_code == 0);
    CHECK(folder.read("a.jsonl") != "precious");
}

TEST_CASE("Ctrl-C in a sweep is exit code 130, and the log goes on where it stopped") {
    const TempFolder folder;
    const VirtualBench bench({"--pace"});
    Process run(YOKEDOCK_PROGRAM, sweep(bench.address()), folder.path().string());
    wait_for_lines(folder, "a.jsonl", 3);
    run.signal(SIGINT);
    const Finished cut = run.finish();
    INFO(cut.err);
    CHECK(cut.exit_code == 130);
    check_goes_on(folder, cut);
}

TEST_CASE("a bench unplugged in a sweep is exit code 3, and the log goes on where it stopped") {
    const TempFolder folder;
    VirtualBench bench({"--pace"});
    Process run(YOKEDOCK_PROGRAM, sweep(bench.address()), folder.path().string());
    wait_for_lines(folder, "a.jsonl", 3);
    bench.unplug();
    const Finished cut = run.finish();
    INFO(cut.err);
    CHECK(cut.exit_code == 3);
    CHECK_THAT(cut.err, Contains("cut off"));
    check_goes_on(folder, cut);
}

TEST_CASE("resume refuses what does not belong to the log, with the log untouched") {
    const TempFolder folder;
    const VirtualBench bench;
    REQUIRE(yokedock(sweep(bench.address(), {"--quiet-cautions"}), folder).exit_code == 0);
    const std::string whole = folder.read("a.jsonl");
    // Without its last lines it is a log that was cut off.
    std::string cut =
        whole.substr(0, whole.find("\n{\"kind\":\"step\",\"sweep\":0,\"number\":3") + 1);
    REQUIRE(cut.size() > 100);
    (void)folder.write("a.jsonl", cut);
    const auto resume = [&](std::vector<std::string> more) {
        std::vector<std::string> words{"sweep",   "--bench",  bench.address(), "--resume",
                                       "a.jsonl", "--supply", "outside"};
        words.insert(words.end(), more.begin(), more.end());
        const Finished refused = yokedock(words, folder);
        CHECK(refused.exit_code == 2);
        CHECK(folder.read("a.jsonl") == cut);
        return refused.err;
    };
    CHECK_THAT(resume({"--step-hz", "100"}), Contains("--step-hz is 100") && Contains("200"));
    CHECK_THAT(resume({"--resolution-hz", "10"}), Contains("--resolution-hz"));
    CHECK_THAT(resume({"--axis", "vertical"}), Contains("--axis") && Contains("horizontal"));
    CHECK_THAT(resume({"--no-pull-in"}), Contains("--no-pull-in"));
    CHECK_THAT(resume({"--standard", "625/50"}), Contains("525/59.94"));
    CHECK_THAT(resume({"--watch"}), Contains("--watch"));
    CHECK_THAT(resume({"--log", "b.jsonl"}), Contains("--log"));

    const std::string serial = "\"bench_serial\":";
    const auto at = cut.find(serial) + serial.size();
    cut.replace(at, cut.find_first_of(",}", at) - at, "4711");
    (void)folder.write("a.jsonl", cut);
    CHECK_THAT(resume({}), Contains("serial") && Contains("4711"));

    // A step the search would not have made: changed by hand, or by another version.
    const std::string from = "\"number\":1,\"part\":\"nominal\"";
    cut = whole.substr(0, cut.size());
    cut = whole.substr(0, whole.find("\n{\"kind\":\"step\",\"sweep\":0,\"number\":3") + 1);
    cut.replace(cut.find(from), from.size(), "\"number\":1,\"part\":\"hold_up\"");
    (void)folder.write("a.jsonl", cut);
    const Finished other = yokedock(
        {"sweep", "--bench", bench.address(), "--resume", "a.jsonl", "--supply", "outside"},
        folder);
    CHECK(other.exit_code == 5);
    CHECK_THAT(other.err, Contains("step 1") && Contains("another version"));
}

TEST_CASE("a torn last line is told, cut off, and the sweep goes on; other damage is exit code 5") {
    const TempFolder folder;
    const VirtualBench bench;
    REQUIRE(yokedock(sweep(bench.address(), {"--quiet-cautions"}), folder).exit_code == 0);
    const std::string whole = folder.read("a.jsonl");
    const auto cut = whole.find("\n{\"kind\":\"step\",\"sweep\":0,\"number\":3") + 30;
    (void)folder.write("a.jsonl", whole.substr(0, cut));
    const Finished shown = yokedock({"sweep", "--from", "a.jsonl"}, folder);
    CHECK_THAT(shown.err, Contains("torn"));
    CHECK_THAT(shown.out, Contains("INCOMPLETE"));
    const Finished resumed = yokedock(
        {"sweep", "--bench", bench.address(), "--resume", "a.jsonl", "--supply", "outside"},
        folder);
    INFO(resumed.err);
    CHECK(resumed.exit_code == 0);
    CHECK_THAT(resumed.err, Contains("torn"));
    CHECK(count_kind(lines_of(folder.read("a.jsonl")), "end") == 1);

    const Finished nothing = yokedock({"sweep", "--resume", "a.jsonl"}, folder);
    CHECK(nothing.exit_code == 0);
    CHECK_THAT(nothing.err, Contains("complete"));

    std::string bad = whole;
    bad.replace(bad.find("\"number\":2,"), 11, "\"number\":9,");
    (void)folder.write("a.jsonl", bad);
    for (const char* option : {"--from", "--resume"}) {
        const Finished refused = yokedock({"sweep", option, "a.jsonl"}, folder);
        CHECK(refused.exit_code == 5);
        CHECK(refused.out.empty());
        CHECK_THAT(refused.err, Contains("line 4") && Contains("number is 9, expected 2"));
    }
}

TEST_CASE("watch repeats a short sweep, a line per turn") {
    const TempFolder folder;
    const VirtualBench bench;
    const std::vector<std::string> watch{"sweep",        "--bench", bench.address(), "--standard",
                                         "525/59.94",    "--axis",  "horizontal",    "--watch",
                                         "--duration-s", "0.1",     "--supply",      "outside",
                                         "--log",        "w.jsonl"};
    const Finished run = yokedock(watch, folder);
    INFO(run.err);
    CHECK(run.exit_code == 0);
    CHECK_THAT(run.out, Contains("[") && Contains("]") && (Contains("S") || Contains("*")) &&
                            Contains(" hold ") && Contains("free run"));
    CHECK_THAT(run.out, !Contains("\r") && !Contains("\x1b"));
    CHECK(count_kind(lines_of(folder.read("w.jsonl")), "end") >= 1);
    CHECK_THAT(yokedock({"sweep", "--from", "w.jsonl"}, folder).out, Contains(" hold "));
    CHECK(yokedock({"sweep", "--resume", "w.jsonl", "--supply", "outside"}, folder).exit_code == 2);
    std::vector<std::string> json = watch;
    json.back() = "j.jsonl";
    json.emplace_back("--json");
    const Finished turns = yokedock(json, folder);
    CHECK(Json::parse(turns.out.substr(0, turns.out.find('\n'))).at("axis") == "horizontal");
}

TEST_CASE("the commands shown in docs/sweep.md run as they stand, with a person's answers") {
    const TempFolder folder;
    const VirtualBench bench({}, "relays");
    std::filesystem::copy_file(YOKEDOCK_SOURCE_FOLDER "/demo/boards/quillwood13.profile.json",
                               folder.file("board.profile.json"));
    std::ifstream page(YOKEDOCK_SOURCE_FOLDER "/docs/sweep.md");
    std::size_t count = 0;
    for (std::string line; std::getline(page, line);) {
        std::istringstream words(line);
        std::string word;
        words >> word;
        if (word != "yokedock") { // inline code begins with a backtick
            continue;
        }
        std::vector<std::string> arguments;
        while (words >> word) {
            arguments.push_back(word == "tcp:127.0.0.1:4100" ? bench.address() : word);
        }
        if (line.find("--profile") != std::string::npos) {
            arguments.insert(arguments.end(), {"--nothing-changed", "--confirm", "tube_discharged",
                                               "--confirm", "anode_lead"});
        }
        const Finished run = yokedock(arguments, folder);
        INFO(line << run.err);
        CHECK(run.exit_code == 0);
        ++count;
    }
    CHECK(count == 2);
}

TEST_CASE("Ctrl-C ends watch well") {
    const TempFolder folder;
    const VirtualBench bench({"--pace"});
    Process run(YOKEDOCK_PROGRAM,
                {"sweep", "--bench", bench.address(), "--standard", "525/59.94", "--axis",
                 "horizontal", "--watch", "--log", "w.jsonl", "--supply", "outside"},
                folder.path().string());
    wait_for_lines(folder, "w.jsonl", 3);
    run.signal(SIGINT);
    CHECK(run.finish().exit_code == 0);
}

TEST_CASE("a board that does not lock at the set rate is a verdict against it, and says so") {
    const TempFolder folder;
    const VirtualBench bench(
        {"--board", YOKEDOCK_SOURCE_FOLDER "/demo/boards/quillwood13_rolls.json"});
    const Finished run =
        yokedock({"sweep", "--bench", bench.address(), "--standard", "525/59.94", "--axis",
                  "vertical", "--log", "a.jsonl", "--quiet-cautions", "--no-returns",
                  "--no-pull-in", "--resolution-hz", "1", "--step-hz", "2", "--supply", "outside"},
                 folder);
    INFO(run.err);
    CHECK(run.exit_code == 1);
    CHECK_THAT(run.out, Contains("AGAINST THE BOARD") && Contains("does not lock at the set rate"));
    CHECK(yokedock({"sweep", "--from", "a.jsonl"}, folder).exit_code == 1);
}
