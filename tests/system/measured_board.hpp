// SPDX-License-Identifier: MIT
// A board measured through the real firmware image, the wire and the analysis: what `yokedock measure` does, in this
// process and in simulated time.
#pragma once
#include "demo/virtual_bench/board/board.hpp"
#include "host/analysis/analyse.hpp"
#include "host/capture/measurement.hpp"
#include "tests/system/simulation_transport.hpp"
#include <catch2/catch.hpp>

namespace yokedock::test {

struct MeasuredBoard {
    capture::MeasureOutcome outcome;
    analysis::AnalysisResult result;
    double end_s = 0; ///< simulated time at the end
};

/// Powers bench and board, sends the sync (or none), lets the board settle, measures. FAILs on any error.
inline MeasuredBoard measure_board(const sim::BoardParameters& parameters,
                                   const wire::SyncSettings& settings, bool sync_on = true,
                                   double settle_s = 1.0,
                                   const capture::PhaseSeconds& seconds = {}) {
    auto simulation = sim::BenchSimulation::create(YOKEDOCK_FIRMWARE_ELF,
                                                   std::make_unique<sim::Board>(parameters));
    if (!simulation) {
        FAIL(simulation.error().text);
    }
    auto& bench_simulation = *simulation.value();
    auto bench =
        bench::Bench::connect(std::make_unique<SimulationTransport>(bench_simulation), "simulated");
    if (!bench) {
        FAIL(bench.error().text);
    }
    if (const auto set = bench.value().set_sync(settings); !set) {
        FAIL(set.error().text);
    }
    if (const Status on = bench.value().sync_output(sync_on); !on) {
        FAIL(on.error().text);
    }
    if (const Status settled = bench.value().wait_ticks(static_cast<std::uint32_t>(
            settle_s * bench.value().identity().clock_hz));
        !settled) {
        FAIL(settled.error().text);
    }
    MeasuredBoard measured;
    measured.outcome = capture::run_measurement(bench.value(), {seconds, true});
    if (measured.outcome.error) {
        FAIL(measured.outcome.error->text);
    }
    measured.result = analysis::analyse(capture::to_observation(measured.outcome.measurement));
    measured.end_s = bench_simulation.time_s();
    return measured;
}

} // namespace yokedock::test
