// SPDX-License-Identifier: MIT
// The issue: "Two runs of one healthy board compare as the same in at least 99 of 100 seeds; a 3 %
// size change or 5 % retrace change is found in at least 95 of 100." On the simulated board,
// measured without the chip; each seed is another bench. What changes are component values; how far
// size and retrace change by them is read off the board's own waveforms (sim::measure_truth), which
// share nothing with the analysis.
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/truth.hpp"
#include "demo/virtual_bench/model_bench/model_bench.hpp"
#include "host/diagnose/compare.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/core.h>

using namespace yokedock;
using namespace yokedock::diagnose;
using sim::BoardParameters;

namespace {

const wire::SyncSettings& sync_settings() {
    return *sim::find_standard("525/59.94");
}

BoardParameters healthy_board() {
    return sim::load_board(std::string(YOKEDOCK_BOARDS) + "/quillwood13.json").value().parameters;
}

/// windows: in: what to judge over; out: those of this measurement where it says nothing.
Measurement take(BoardParameters board, std::uint32_t noise_seed, const std::string& name,
                 analysis::AnalysisOptions& windows) {
    board.bench_noise_seed = noise_seed;
    sim::ModelBenchOptions options;
    options.sync = sync_settings();
    options.settle_s = 0.5;
    options.seconds = sim::kQuickSeconds;
    options.analysis = windows;
    const sim::ModelMeasurement model = sim::run_model_bench(board, options);
    analysis::AnalysisResult result = model.result;
    const capture::Observation observation = capture::to_observation(model.raw);
    if (!windows.vertical_window) {
        windows = windows_of(result, windows);
        result = analysis::analyse(observation, windows);
    }
    Measurement m;
    m.name = name;
    m.figures = std::move(result.figures);
    m.curves = std::move(result.curves);
    m.under.standard = "525/59.94";
    m.under.line_rate_hz = observation.line_rate_hz;
    m.under.field_rate_hz = observation.field_rate_hz;
    m.under.sync_on = true;
    m.under.bench = fmt::format("bench {}", board.bench_seed);
    m.under.scale = {1};
    m.channels = samplings_of(observation);
    return m;
}

struct Change {
    const char* what;
    void (*make)(BoardParameters&);
    double (*read)(const sim::BoardTruth&); ///< what changes
    double least_pct; ///< by how much it truly does: no more than the issue says
    double most_pct;
    Axis axis;
    Item item;
    int found = 0;
};

std::vector<Change> changes() {
    return {
        {"vertical size", [](BoardParameters& b) { b.vertical_output_sense_ohm *= 1.034; },
         [](const sim::BoardTruth& t) { return t.vertical.peak_to_peak; }, 2.8, 3.1,
         Axis::kVertical, Item::kSize},
        {"horizontal size", [](BoardParameters& b) { b.line_yoke_inductance_h *= 1.027; },
         [](const sim::BoardTruth& t) { return t.horizontal.peak_to_peak; }, 2.8, 3.1,
         Axis::kHorizontal, Item::kSize},
        {"vertical retrace", [](BoardParameters& b) { b.vertical_yoke_inductance_h *= 1.053; },
         [](const sim::BoardTruth& t) { return t.vertical.retrace_10_90_s; }, 4.7, 5.1,
         Axis::kVertical, Item::kRetrace},
        {"horizontal retrace", [](BoardParameters& b) { b.line_output_retrace_f *= 0.904; },
         [](const sim::BoardTruth& t) { return t.horizontal.retrace_10_90_s; }, 4.7, 5.1,
         Axis::kHorizontal, Item::kRetrace},
    };
}

bool found(const Comparison& c, Axis axis, Item item) {
    return std::any_of(c.figures.begin(), c.figures.end(), [&](const FigureComparison& f) {
        return f.rule.axis == axis && f.rule.item == item && f.verdict == Verdict::kDifferent;
    });
}

void show(std::uint32_t seeds, int least_same, int least_found) {
    auto all = changes();
    const BoardParameters board = healthy_board();
    const sim::BoardTruth truth = sim::measure_truth(board, sync_settings());
    for (const Change& change : all) {
        BoardParameters changed = board;
        change.make(changed);
        const double pct =
            100 *
            std::abs(
                change.read(sim::measure_truth(changed, sync_settings())) / change.read(truth) - 1);
        INFO(change.what << " truly changes by " << pct << " %");
        CHECK(pct >= change.least_pct);
        CHECK(pct <= change.most_pct);
    }
    int same = 0;
    for (std::uint32_t seed = 1; seed <= seeds; ++seed) {
        BoardParameters mine = board;
        mine.bench_seed = seed;
        analysis::AnalysisOptions windows;
        const Measurement good = take(mine, seed, "good", windows);
        const auto run = [&](const BoardParameters& b) {
            return compare(take(b, 5000 + seed, "run", windows), {good});
        };
        const Comparison healthy = run(mine);
        same += healthy.verdict == Verdict::kSame;
        for (const FigureComparison& f : healthy.figures) {
            INFO("seed " << seed << " " << f.name << " " << f.difference << " +- " << f.u);
            CHECK(f.verdict != Verdict::kDifferent);
        }
        for (Change& change : all) {
            BoardParameters changed = mine;
            change.make(changed);
            const Comparison c = run(changed);
            change.found += c.verdict == Verdict::kDifferent && found(c, change.axis, change.item);
        }
    }
    fmt::print("simulated board, {} seeds: same {}", seeds, same);
    CHECK(same >= least_same);
    for (const Change& change : all) {
        INFO(change.what << ": " << change.found << " of " << seeds);
        CHECK(change.found >= least_found);
        fmt::print(", {} {}", change.what, change.found);
    }
    fmt::print("\n");
}

} // namespace

TEST_CASE("Runs of a simulated board are the same, a change of size or retrace is found: 2 seeds") {
    show(2, 2, 2);
}

// About 4 minutes.
TEST_CASE("Runs of a simulated board are the same, a change of size or retrace is found: 100 seeds",
          "[.][hundred]") {
    show(100, 99, 95);
}

// Boards of 5 % parts, adjusted as a factory does: five of them are the reference, a sixth is
// compared. Outside the band of the spread in any figure: 5 % (kOutsideSpread), if boards differ as
// a normal distribution does, which parts with limits do not; besides, tolerances never go below
// the defaults. 40 trials: at most 5 by more than a chance of 1 in 60 (binomial). About 90 s.
TEST_CASE("A good board among other good boards is not called different", "[.][hundred]") {
    int different = 0;
    int small_found = 0;
    constexpr std::uint32_t kTrials = 40;
    for (std::uint32_t trial = 0; trial < kTrials; ++trial) {
        analysis::AnalysisOptions windows;
        std::vector<Measurement> good;
        for (std::uint32_t i = 0; i < 5; ++i) {
            const std::uint32_t number = 1 + 6 * trial + i;
            good.push_back(take(sim::scatter(healthy_board(), number), number,
                                fmt::format("good {}", i), windows));
        }
        CompareOptions others;
        others.kind = ReferenceKind::kOtherBoards;
        const std::uint32_t number = 6 + 6 * trial;
        BoardParameters sixth = sim::scatter(healthy_board(), number);
        const Comparison c = compare(take(sixth, number, "sixth", windows), good, others);
        different += c.verdict == Verdict::kDifferent;
        for (const AxisVerdict& axis : c.axes) {
            for (const std::string& one : axis.differ) {
                fmt::print("trial {}: {}\n", trial, one);
            }
        }
        sixth.vertical_output_sense_ohm *= 1.2; // a sixth smaller
        small_found += compare(take(sixth, number, "sixth", windows), good, others).verdict ==
                       Verdict::kDifferent;
    }
    fmt::print("scattered boards, {} trials: different {}; 17 % smaller found {}\n", kTrials,
               different, small_found);
    CHECK(different <= 5);
    CHECK(small_found >= 38);
}
