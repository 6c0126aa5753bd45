// SPDX-License-Identifier: MIT
// A measurement of the simulated board without chip and link: the same captures, sample instants,
// front end and edge stamps as `yokedock measure --supply outside` records on the virtual bench,
// and the host's figures from them. For matrices of faults: some 0.1 s of processor time for each
// second the board runs. tests/system/model_bench_test.cpp compares it with the real path.
#pragma once
#include "demo/virtual_bench/board/faults.hpp"
#include "host/analysis/analyse.hpp"
#include "host/capture/measurement.hpp"

namespace yokedock::sim {

/// Phases for matrices of many boards: 36 fields, half the samples of the line. Same figures, some
/// with up to twice the uncertainty, for less than half the time.
constexpr capture::PhaseSeconds kQuickSeconds{0.35, 0.05, 0.6, 0.1, 0.3};

struct ModelBenchOptions {
    wire::SyncSettings sync;    ///< one that sync::make_plan accepts; find_standard() has some
    std::vector<FaultUse> live; ///< faults that come and go, on top of the values
    std::optional<std::uint32_t> seed; ///< which bench and which noise; else as the values say
    double warm_up_s = 0;              ///< heat sink and case warm up for so long first ...
    double warm_up_pace = 1000;        ///< ... so many times faster than in life
    double settle_s = 1.0;             ///< with sync (or none), before the first capture
    bool sync_on = true;
    double free_run_s = 0;          ///< then without sync, edges only; 0: not done
    double free_run_settle_s = 0.5; ///< after sync went
    capture::PhaseSeconds seconds;
    capture::Guarding guarding = capture::Guarding::kNone;
    analysis::AnalysisOptions analysis;
};

struct ModelMeasurement {
    capture::RawMeasurement raw;       ///< as a record keeps it
    analysis::AnalysisResult result;   ///< its figures
    capture::RawMeasurement free_raw;  ///< sync off; empty when not asked for
    analysis::AnalysisResult free_run; ///< v_rate_hz and h_rate_hz are the free-running rates
};

/// Runs a new board and measures it. The same arguments give the same result, bit for bit.
/// options.sync must be one that sync::make_plan accepts (asserted).
[[nodiscard]] ModelMeasurement run_model_bench(const BoardParameters& board,
                                               const ModelBenchOptions& options);

/// The figures of run_model_bench().result, and the free-running ones, if asked for, at the end as
/// v_free_rate_hz and h_free_rate_hz.
[[nodiscard]] analysis::FigureSet measure_model(const BoardParameters& board,
                                                const ModelBenchOptions& options);

} // namespace yokedock::sim
