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

Swept sweep(const char* board, const char* standard, lock::SweepAxis axis) {
    const auto file = sim::load_board(std::string(YOKEDOCK_BOARDS) + "/" + board);
    REQUIRE(file.ok());
    auto simulation = sim::BenchSimulation::create(
        YOKEDOCK_FIRMWARE_ELF, std::make_unique<sim::Board>(file.value().parameters));
    REQUIRE(simulation.ok());
    auto bench = bench::Bench::connect(
        std::make_unique<test::SimulationTransport>(*simulation.value()), "simulated");
    REQUIRE(bench.ok());
    const auto settings = lock::default_sweep(axis, *sim::find_standard(standard), 16000000);
    REQUIRE(settings.ok());
    lock::SweepSearch search(settings.value());
    lock::SweepBench runner(bench.value(), settings.value());
    const double begin_s = simulation.value()->time_s();
    Swept swept;
    while (const auto step = search.next()) {
        const auto result = runner.run(*step);
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
