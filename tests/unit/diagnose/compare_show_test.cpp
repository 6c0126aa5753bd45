// SPDX-License-Identifier: MIT
// The issue: "Two runs of one healthy board compare as the same in at least 99 of 100 seeds; a 3 %
// size change or 5 % retrace change is found in at least 95 of 100." Here on boards written down as
// formulas, noise and jitter included; tests/system/compare_model_test.cpp does it on the simulated
// board.
#include "tests/unit/diagnose/synthetic_measurement.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <fmt/core.h>

using namespace yokedock::diagnose;
using synthetic::Board;

namespace {

struct Change {
    const char* what;
    void (*make)(Board&);
    Axis axis;
    Item item; ///< that must be found different
    int found = 0;
};

bool found(const Comparison& c, Axis axis, Item item) {
    return std::any_of(c.figures.begin(), c.figures.end(), [&](const FigureComparison& f) {
        return f.rule.axis == axis && f.rule.item == item && f.verdict == Verdict::kDifferent;
    });
}

/// Seeds from 1 on; the same runs of 1000 + seed, so no two measurements share noise.
void show(unsigned seeds, int least_same, int least_found) {
    std::vector<Change> changes{
        {"vertical size 3 % smaller", [](Board& b) { b.v_peak *= 0.97; }, Axis::kVertical,
         Item::kSize},
        {"horizontal size 3 % larger", [](Board& b) { b.h_peak *= 1.03; }, Axis::kHorizontal,
         Item::kSize},
        {"vertical retrace 5 % longer", [](Board& b) { b.v_retrace_s *= 1.05; }, Axis::kVertical,
         Item::kRetrace},
        {"horizontal retrace 5 % shorter", [](Board& b) { b.h_retrace_s *= 0.95; },
         Axis::kHorizontal, Item::kRetrace},
    };
    int same = 0;
    for (unsigned seed = 1; seed <= seeds; ++seed) {
        Board board;
        board.seed = seed;
        const auto good = synthetic::measured(board, "good");
        board.seed = 1000 + seed;
        const auto run = [&](const Board& b) {
            return compare(synthetic::measured(b, "run", good.windows).measurement,
                           {good.measurement});
        };
        const Comparison healthy = run(board);
        same += healthy.verdict == Verdict::kSame;
        for (const FigureComparison& f : healthy.figures) {
            INFO("seed " << seed << " " << f.name << " " << f.difference << " +- " << f.u);
            CHECK(f.verdict != Verdict::kDifferent);
        }
        for (Change& change : changes) {
            Board changed = board;
            change.make(changed);
            const Comparison c = run(changed);
            change.found += c.verdict == Verdict::kDifferent && found(c, change.axis, change.item);
        }
    }
    fmt::print("synthetic boards, {} seeds: same {}", seeds, same);
    CHECK(same >= least_same);
    for (const Change& change : changes) {
        INFO(change.what << ": " << change.found << " of " << seeds);
        CHECK(change.found >= least_found);
        fmt::print(", {} {}", change.what, change.found);
    }
    fmt::print("\n");
}

} // namespace

// If a run is called the same with probability 0.999, as it is meant to be, 8 of 8 in all but 8 of
// 1000 choices of seeds; these are fixed.
TEST_CASE("Runs of a healthy board are the same, a change of size or retrace is found: 8 seeds") {
    show(8, 8, 8);
}

TEST_CASE("Runs of a healthy board are the same, a change of size or retrace is found: 100 seeds",
          "[.][hundred]") {
    show(100, 99, 95);
}
