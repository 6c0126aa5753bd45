// SPDX-License-Identifier: MIT
// Complete sweeps through the real firmware image, the wire and the board model.
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "host/lock/stimulus.hpp"
#include "host/lock/sweep_bench.hpp"
#include "host/lock/sweep_search.hpp"
#include "tests/system/measured_board.hpp"
#include <fmt/core.h>

using namespace yokedock;

namespace {

struct Swept {
    lock::SweepSummary summary;
    std::vector<lock::StepResult> steps;
    double seconds = 0; ///< simulated
};

struct Ways {
    bool narrow_sync = false;
    std::size_t stop_after = 0; ///< steps; then sync off and a new session that replays them
};

Swept sweep(const char* board, const char* standard, lock::SweepAxis axis, Ways ways = {}) {
    const auto file = sim::load_board(std::string(YOKEDOCK_BOARDS) + "/" + board);
    REQUIRE(file.ok());
    auto simulation = sim::BenchSimulation::create(
        YOKEDOCK_FIRMWARE_ELF, std::make_unique<sim::Board>(file.value().parameters));
    REQUIRE(simulation.ok());
    auto bench = bench::Bench::connect(
        std::make_unique<test::SimulationTransport>(*simulation.value()), "simulated");
    REQUIRE(bench.ok());
    auto settings = lock::default_sweep(axis, *sim::find_standard(standard), 16000000);
    REQUIRE(settings.ok());
    settings.value().narrow_sync = ways.narrow_sync;
    lock::SweepSearch search(settings.value());
    std::optional<lock::SweepBench> runner(std::in_place, bench.value(), settings.value());
    const double begin_s = simulation.value()->time_s();
    Swept swept;
    while (const auto step = search.next()) {
        if (ways.stop_after > 0 && swept.steps.size() == ways.stop_after) {
            REQUIRE(bench.value().sync_off().ok());
            REQUIRE(bench.value().wait_ticks(8000000).ok());
            search = lock::SweepSearch(settings.value());
            runner.emplace(bench.value(), settings.value());
            for (const lock::StepResult& r : swept.steps) {
                search.add(r);
                runner->remember(r);
            }
            REQUIRE(search.next()->number == step->number);
        }
        const auto result = runner->run(*step);
        if (!result) {
            FAIL(result.error().text);
        }
        const auto& r = result.value();
        fmt::print("{:3} {:16} {:9.3f} Hz: {:12} board {:10.4f} +- {:.2g} phase {:.4f} acq {:.3f} "
                   "{}\n",
                   step->number, lock::word(step->part), r.achieved_hz, lock::word(r.state),
                   r.board_hz, r.board_u_hz, r.phase, r.acquired_s, r.reason);
        search.add(r);
        swept.steps.push_back(r);
        REQUIRE(swept.steps.size() < 400);
    }
    swept.summary = search.summary();
    swept.seconds = simulation.value()->time_s() - begin_s;
    for (const auto& f : swept.summary.findings) {
        fmt::print("  finding: {}\n", f);
    }
    for (const auto& f : swept.summary.flags) {
        fmt::print("  flag: {}\n", f);
    }
    const double least = lock::least_seconds(swept.summary);
    fmt::print(
        "bench time {:.2f} s of simulated time; least that dwell and definition allow {:.2f} s; "
        "ratio {:.1f}\n",
        swept.seconds, least, swept.seconds / least);
    return swept;
}

} // namespace

TEST_CASE("a complete vertical sweep at 0.1 Hz takes at most 45 s of bench time") {
    const Swept s = sweep("quillwood13.json", "525/59.94", lock::SweepAxis::kVertical);
    CHECK(s.summary.complete);
    CHECK(s.summary.locks_at_nominal);
    CHECK(s.summary.flags.empty());
    CHECK(s.summary.hold_low.status == lock::LimitStatus::kFound);
    CHECK(s.summary.hold_low.resolution_hz() < 0.1001);
    CHECK(s.seconds <= 45);
}

TEST_CASE("a complete horizontal sweep at 10 Hz takes at most 20 s of bench time") {
    const Swept s = sweep("quillwood13.json", "525/59.94", lock::SweepAxis::kHorizontal);
    CHECK(s.summary.complete);
    CHECK(s.summary.locks_at_nominal);
    CHECK(s.summary.flags.empty());
    CHECK(s.summary.hold_low.status == lock::LimitStatus::kFound);
    CHECK(s.summary.hold_high.status == lock::LimitStatus::kFound);
    CHECK(s.seconds <= 20);
}

TEST_CASE("a sweep that is stopped anywhere goes on to the same limits") {
    const Swept whole = sweep("quillwood13.json", "525/59.94", lock::SweepAxis::kHorizontal);
    for (const lock::SweepPart part : {lock::SweepPart::hold_down, lock::SweepPart::return_up,
                                       lock::SweepPart::hold_up, lock::SweepPart::pull_in_up}) {
        // The last step of the part: for hold that is the loss, far from where the set rate is.
        std::size_t at = 0;
        for (const auto& r : whole.steps) {
            at = r.step.part == part ? r.step.number : at;
        }
        REQUIRE(at > 0);
        const Swept s =
            sweep("quillwood13.json", "525/59.94", lock::SweepAxis::kHorizontal, {false, at});
        INFO(lock::word(part));
        CHECK(s.summary.complete);
        CHECK(s.summary.hold_low.status == lock::LimitStatus::kFound);
        CHECK(s.summary.hold_high.status == lock::LimitStatus::kFound);
        // The oscillator drifts by less than a step between the two.
        const double one = 1.001 * s.summary.settings.resolution_hz;
        CHECK(s.summary.hold_low.locked_hz == Approx(whole.summary.hold_low.locked_hz).margin(one));
        CHECK(s.summary.hold_high.locked_hz ==
              Approx(whole.summary.hold_high.locked_hz).margin(one));
    }
}

TEST_CASE("boards with a fault in their sync or oscillators are told apart in words") {
    struct Case {
        const char* board;
        lock::SweepAxis axis;
        const char* words;
    };
    const Case cases[] = {
        {"quillwood13_afc_open.json", lock::SweepAxis::kHorizontal, "AFC is open"},
        {"quillwood13_line_off_rate.json", lock::SweepAxis::kHorizontal, "too fast: lower"},
        {"quillwood13_field_off_rate.json", lock::SweepAxis::kVertical, "too fast: lower"},
        {"quillwood13_half_rate.json", lock::SweepAxis::kVertical, "half the sync rate"},
        {"quillwood13_weak_sync.json", lock::SweepAxis::kVertical, "weak"},
    };
    for (const Case& c : cases) {
        const Swept s = sweep(c.board, "525/59.94", c.axis);
        INFO(c.board);
        CHECK(s.summary.complete);
        REQUIRE_FALSE(s.summary.findings.empty());
        CHECK_THAT(s.summary.findings.at(0), Catch::Contains(c.words));
    }
}

TEST_CASE("how narrow sync may be is found through the firmware") {
    for (const auto axis : {lock::SweepAxis::kVertical, lock::SweepAxis::kHorizontal}) {
        const Swept s = sweep("quillwood13.json", "525/59.94", axis, {true, 0});
        CHECK(s.summary.complete);
        REQUIRE(s.summary.narrow_sync);
        const lock::NarrowLimit& n = *s.summary.narrow_sync;
        CHECK(n.status != lock::LimitStatus::kNotMeasured);
        CHECK(n.locked_part < 1);
        CHECK(n.locked_s > n.lost_s);
    }
}
