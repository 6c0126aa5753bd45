// SPDX-License-Identifier: MIT
#include "host/record/profile_learn.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

using namespace yokedock;
using namespace yokedock::record;
using analysis::Figure;
using analysis::FigureSet;

namespace {

FigureSet board(double size_a, double u = 0) {
    return {analysis::measured("v_yoke_pp_a", "size", "A", size_a, u, 10, "m"),
            analysis::measured("v_locked", "locked", "", 1, 0, 10, "m"),
            analysis::measured("v_missing_edges", "missing", "", 0, 0, 10, "m"),
            analysis::measured("ref_v", "reference", "V", 2.5, 0.001, 10, "m"),
            analysis::not_measured("h_yoke_pp_a", "size", "A", "channel h_yoke_a was not sampled")};
}

std::string why_left_out(const Learned& learned, const std::string& figure) {
    for (const auto& one : learned.left_out) {
        if (one.figure == figure) {
            return one.reason;
        }
    }
    return "it was learned";
}

} // namespace

TEST_CASE("one board: its value, a default tolerance that says so, twice the uncertainty in it") {
    const Learned learned = learn_expected({board(0.8, 0.01)});
    const ExpectedFigure& size = learned.expected.at("v_yoke_pp_a");
    CHECK(size.value == 0.8);
    CHECK(size.basis == ExpectationBasis::kDefault);
    CHECK(size.boards == 1);
    CHECK_FALSE(size.spread);
    CHECK(size.tolerance == Approx(std::hypot(0.05 * 0.8, 2 * 0.01)));
    CHECK(learned.expected.at("v_locked").tolerance == 0);
    CHECK(learned.expected.at("v_missing_edges").value == 0);
    CHECK(why_left_out(learned, "ref_v") == "it is the bench's own reference");
    CHECK(why_left_out(learned, "h_yoke_pp_a") == "channel h_yoke_a was not sampled");
}

TEST_CASE("several boards: mean, spread, and the prediction interval for one more") {
    // 1, 2, 3: mean 2, s = 1, t(0.975, 2) = 4.303: 4.303 sqrt(4/3) = 4.9687.
    const Learned learned = learn_expected({board(1), board(2), board(3)});
    const ExpectedFigure& size = learned.expected.at("v_yoke_pp_a");
    CHECK(size.value == Approx(2));
    CHECK(*size.spread == Approx(1));
    CHECK(size.boards == 3);
    CHECK(size.basis == ExpectationBasis::kSpread);
    CHECK(size.tolerance == Approx(4.9687).epsilon(1e-4));
    // Boards that read the same are known no better than their readings.
    const Learned equal = learn_expected({board(1, 0.02), board(1, 0.02), board(1, 0.02)});
    CHECK(equal.expected.at("v_yoke_pp_a").tolerance == Approx(0.04));
}

TEST_CASE("one more board falls into the band 95 times in 100, whatever the number learned from") {
    std::mt19937 random(3);
    std::normal_distribution<double> spread(24, 0.3);
    for (const std::size_t n : {2u, 3u, 5u, 12u}) {
        constexpr int kTrials = 4000;
        int inside = 0;
        for (int trial = 0; trial < kTrials; ++trial) {
            std::vector<FigureSet> boards;
            for (std::size_t i = 0; i < n; ++i) {
                boards.push_back(board(spread(random)));
            }
            const ExpectedFigure size = learn_expected(boards).expected.at("v_yoke_pp_a");
            inside += std::abs(spread(random) - size.value) <= size.half_width() ? 1 : 0;
        }
        INFO(n << " boards");
        // Binomial: 95 % of 4000, standard deviation 0.34 %; 4 of them.
        CHECK(inside / static_cast<double>(kTrials) == Approx(0.95).margin(0.0138));
    }
}

TEST_CASE(
    "what boards disagree about and has no uncertainty is left out, so are counts that are not 0") {
    FigureSet unlocked = board(1);
    unlocked[1].value = 0;
    FigureSet gaps = board(1);
    gaps[2].value = 3;
    CHECK_THAT(why_left_out(learn_expected({board(1), unlocked}), "v_locked"),
               Catch::Contains("do not agree"));
    CHECK_THAT(why_left_out(learn_expected({gaps}), "v_missing_edges"),
               Catch::Contains("a good board has none"));
}

TEST_CASE("Student's t as tabled") {
    CHECK(student_t_975(1) == 12.706);
    CHECK(student_t_975(10) == 2.228);
    CHECK(student_t_975(30) == 2.042);
    CHECK(student_t_975(1000) == 2.042);
}
