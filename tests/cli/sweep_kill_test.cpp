// SPDX-License-Identifier: MIT
// kill -9 at a hundred random moments of sweeps. Killed sweeps are resumed and killed again, so
// that the moments are spread over whole sweeps and each sweep still comes to its end. About 2
// minutes.
#include "host/record/sweep_log.hpp"
#include "tests/cli/virtual_bench.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <chrono>
#include <cmath>
#include <csignal>
#include <random>
#include <thread>

using namespace yokedock;
using Clock = std::chrono::steady_clock;
using Seconds = std::chrono::duration<double>;

namespace {

constexpr int kKills = 100;
constexpr int kLeastEnds = 15;
constexpr double kResolutionHz = 50;

std::vector<std::string> sweep(const std::string& address, std::vector<std::string> more) {
    std::vector<std::string> words{"sweep",    "--bench", address, "--quiet-cautions",
                                   "--supply", "outside"};
    words.insert(words.end(), more.begin(), more.end());
    return words;
}

/// Of the line rate: its limits repeat. Vertical pull-in is no measure here: near the free run of a
/// triggered oscillator it depends on the phase at which sync happens to come back.
std::vector<std::string> new_sweep(const std::string& address, const std::string& log) {
    return sweep(address,
                 {"--log", log, "--standard", "525/59.94", "--axis", "horizontal", "--simulated",
                  "--resolution-hz", "50", "--step-hz", "200", "--no-returns"});
}

Finished run_to_end(const std::vector<std::string>& words, const TempFolder& folder) {
    return run_program(YOKEDOCK_PROGRAM, words, folder.path().string());
}

/// The complete lines of a file; "" when it is not there.
std::string complete_lines(const TempFolder& folder, const std::string& name) {
    const std::string text = folder.read(name);
    return text.substr(0, text.rfind('\n') + 1); // npos + 1 is 0
}

bool begins_with(const std::string& text, const std::string& start) {
    return text.compare(0, start.size(), start) == 0;
}

/// Runs the program for this long, reading the log all the while as another program would, then
/// kills it. What was read complete at any moment must be in the log for good.
bool run_and_kill(const std::vector<std::string>& words, const TempFolder& folder,
                  const std::string& log, double seconds) {
    std::string seen = complete_lines(folder, log);
    Process child(YOKEDOCK_PROGRAM, words, folder.path().string());
    const auto end = Clock::now() + Seconds(seconds);
    while (Clock::now() < end) {
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
        const std::string now = complete_lines(folder, log);
        REQUIRE(begins_with(now, seen));
        seen = now;
    }
    child.signal(SIGKILL);
    const Finished finished = child.finish();
    INFO(finished.err);
    REQUIRE((finished.exit_code == 128 + SIGKILL || finished.exit_code == 0));
    REQUIRE(begins_with(complete_lines(folder, log), seen));
    return finished.exit_code == 128 + SIGKILL;
}

/// The log as it stands; nothing when it was killed before the header was in place.
std::optional<record::SweepLog> checked_log(const TempFolder& folder, const std::string& name) {
    const std::string text = folder.read(name);
    if (text.empty()) {
        REQUIRE_FALSE(std::filesystem::exists(folder.file(name))); // all of the header or no file
        return std::nullopt;
    }
    auto log = record::sweep_log_from_text(text, name);
    INFO((log ? log.value().warning : log.error().text));
    REQUIRE(log); // the reader checks that steps count up without a gap
    REQUIRE(log.value().good_bytes == complete_lines(folder, name).size());
    return std::move(log).value();
}

void check_same_limits(const lock::SweepSummary& is, const lock::SweepSummary& expected) {
    CHECK(is.complete);
    CHECK(is.locks_at_nominal);
    const auto same = [](const lock::Limit& a, const lock::Limit& b) {
        CHECK(a.status == b.status);
        // Both stand within the resolution of the same true limit, on its locked side.
        CHECK(std::abs(a.locked_hz - b.locked_hz) <= kResolutionHz);
    };
    same(is.hold_low, expected.hold_low);
    same(is.hold_high, expected.hold_high);
    same(is.pull_in_low, expected.pull_in_low);
    same(is.pull_in_high, expected.pull_in_high);
}

} // namespace

TEST_CASE(
    "kill -9 at 100 random moments: no complete line is lost, and resuming ends with the same "
    "limits") {
    const TempFolder folder;
    const VirtualBench bench;
    const auto begin = Clock::now();
    const Finished whole = run_to_end(new_sweep(bench.address(), "whole.jsonl"), folder);
    const double whole_s = Seconds(Clock::now() - begin).count();
    INFO(whole.err);
    REQUIRE(whole.exit_code <= 1);
    const auto reference = checked_log(folder, "whole.jsonl");
    REQUIRE(reference);
    REQUIRE(record::is_complete(*reference));

    std::mt19937 random(20);
    // A sweep must get six or so kills: then 100 of them spread over more than 15 sweeps.
    std::uniform_real_distribution<double> moment(0, 0.36 * whole_s);
    int kills = 0;
    int ends = 0;
    int torn = 0;
    std::size_t steps_killed_at = 0;
    while (kills < kKills || ends < kLeastEnds) {
        const std::string name = "log" + std::to_string(ends) + ".jsonl";
        std::optional<record::SweepLog> log;
        while (!log || !record::is_complete(*log)) {
            const auto words =
                log ? sweep(bench.address(), {"--resume", name}) : new_sweep(bench.address(), name);
            if (kills >= kKills) { // enough: to the end in one go
                const Finished rest = run_to_end(words, folder);
                INFO(rest.err);
                REQUIRE(rest.exit_code <= 1);
            } else if (run_and_kill(words, folder, name, moment(random))) {
                ++kills;
            }
            log = checked_log(folder, name);
            torn += log && !log->warning.empty() ? 1 : 0;
            steps_killed_at += log && !log->runs.empty() ? log->runs[0].steps.size() : 0;
        }
        check_same_limits(*log->runs.at(0).summary, *reference->runs.at(0).summary);
        ++ends;
    }
    WARN(kills << " kills in " << ends << " sweeps of " << whole_s << " s, " << torn
               << " torn lines, mean step killed at "
               << static_cast<double>(steps_killed_at) / kills);
    CHECK(kills >= kKills);
    CHECK(ends >= kLeastEnds);
}
