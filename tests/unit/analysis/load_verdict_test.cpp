// SPDX-License-Identifier: MIT
// What is said of loads: healthy, shorted turns, open, short, swapped, reversed, out of tolerance.
#include "host/analysis/load_verdict.hpp"
#include "tests/unit/analysis/load_bench.hpp"
#include <catch2/catch.hpp>
#include <map>

using namespace load_bench;
using Catch::Contains;

namespace {

LoadExpectation expectation(bool horizontal, ExpectedCoil own, ExpectedCoil other = {}) {
    LoadExpectation e;
    if (horizontal) {
        std::swap(e.output, e.other);
    }
    e.coil = own;
    e.other_coil = other;
    return e;
}

const ExpectedCoil kVertical{22e-3, 11, 10};
const ExpectedCoil kHorizontal{0.25e-3, 0.5, 10};

LoadJudgement judged(bool horizontal, const Load& load, const LoadExpectation& e,
                     unsigned seed = 1) {
    std::mt19937 random(seed);
    const Bench b = bench(horizontal);
    const LoadStep step = measure(b, load, draw_truth(b, random), random, 400);
    INFO(step.problem);
    REQUIRE(step.ok);
    return judge_load(step, e);
}

std::string all_words(const LoadJudgement& j) {
    std::string text = j.reason;
    for (const std::string& s : j.next_steps) {
        text += "\n" + s;
    }
    for (const std::string& s : j.notes) {
        text += "\n" + s;
    }
    return text;
}

/// A yoke of the kinds in MEASUREMENTS section 5 (from memory there), and a profile that states it
/// within half its tolerance, cold; the coil is anything from cold to hot.
struct Yoke {
    Load load;
    ExpectedCoil stated;
};

Yoke draw_yoke(bool horizontal, std::mt19937& random) {
    std::uniform_real_distribution<double> uniform(-1, 1);
    Yoke y;
    y.load.ohm = horizontal ? log_uniform(0.2, 3, random) : log_uniform(3, 15, random);
    y.load.henry =
        horizontal ? log_uniform(80e-6, 1.5e-3, random) : log_uniform(3e-3, 30e-3, random);
    y.stated.inductance_h = y.load.henry * (1 + 0.05 * uniform(random));
    y.stated.resistance_ohm = y.load.ohm * (1 + 0.05 * uniform(random));
    y.load.ohm *= 1.1 + 0.1 * uniform(random);
    return y;
}

std::map<LoadVerdict, int> judge_many(bool horizontal, bool shorted, int count, unsigned seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> uniform(0.7, 0.98);
    const Bench b = bench(horizontal);
    std::map<LoadVerdict, int> verdicts;
    for (int k = 0; k < count; ++k) {
        const Yoke y = draw_yoke(horizontal, random);
        const double coupling = uniform(random);
        const Load load =
            shorted ? with_shorted_turns(y.load.ohm, y.load.henry, 0.1, coupling) : y.load;
        const LoadStep step = measure(b, load, draw_truth(b, random), random, 400);
        const LoadJudgement j = judge_load(step, expectation(horizontal, y.stated));
        ++verdicts[j.verdict];
        if (j.verdict != (shorted ? LoadVerdict::kShortedTurns : LoadVerdict::kOk)) {
            UNSCOPED_INFO("R " << y.load.ohm << " L " << y.load.henry << " k " << coupling << " "
                               << word(j.verdict) << ": " << all_words(j) << " F " << step.second.f
                               << " strength " << step.second.strength);
        }
    }
    return verdicts;
}

} // namespace

TEST_CASE("10 % of a vertical coil's turns shorted are told") {
    auto verdicts = judge_many(false, true, 100, 31);
    CHECK(verdicts[LoadVerdict::kShortedTurns] >= 95);
    CHECK(verdicts[LoadVerdict::kOk] == 0); // the rest may be not sure
}

TEST_CASE("healthy vertical coils are not told to have shorted turns") {
    auto verdicts = judge_many(false, false, 100, 32);
    CHECK(verdicts[LoadVerdict::kShortedTurns] <= 1);
    CHECK(verdicts[LoadVerdict::kOk] >= 95);
}

TEST_CASE("10 % of a horizontal coil's turns shorted are told") {
    auto verdicts = judge_many(true, true, 100, 33);
    CHECK(verdicts[LoadVerdict::kShortedTurns] >= 95);
    CHECK(verdicts[LoadVerdict::kOk] == 0); // the rest may be not sure
}

TEST_CASE("healthy horizontal coils are not told to have shorted turns") {
    auto verdicts = judge_many(true, false, 100, 34);
    CHECK(verdicts[LoadVerdict::kShortedTurns] <= 1);
    CHECK(verdicts[LoadVerdict::kOk] >= 95);
}

TEST_CASE("loads of every kind get their verdict and the words for it") {
    struct Case {
        const char* name;
        bool horizontal;
        Load load;
        LoadVerdict verdict;
        const char* words;
    };
    Load damped{11, 22e-3};
    damped.parallel_ohm = 330;
    Load only_damping{330, 1e-6};
    const Case cases[] = {
        {"healthy, vertical", false, {11.3, 22.4e-3}, LoadVerdict::kOk, "as it should be"},
        {"healthy and hot", false, {13.5, 22.4e-3}, LoadVerdict::kOk, "as it should be"},
        {"healthy, horizontal", true, {0.5, 0.25e-3}, LoadVerdict::kOk, "as it should be"},
        {"damped", false, damped, LoadVerdict::kOk, "resistor of about 3"},
        {"open", false, {1e7, 22e-3}, LoadVerdict::kOpen, "plug"},
        {"open, damping resistor left", false, only_damping, LoadVerdict::kOpen, "damping"},
        {"short", false, {0.05, 0.5e-6}, LoadVerdict::kShort, "unplug the vertical yoke"},
        {"short, horizontal", true, {0.02, 0.4e-6}, LoadVerdict::kShort, "do not power"},
        {"swapped, vertical",
         false,
         {0.5, 0.25e-3},
         LoadVerdict::kWrongWinding,
         "values of the horizontal winding at the vertical output"},
        {"swapped, horizontal",
         true,
         {11, 22e-3},
         LoadVerdict::kWrongWinding,
         "values of the vertical winding at the horizontal output"},
        {"half bridged", false, {5.5, 8e-3}, LoadVerdict::kOutOfTolerance, "one half"},
        {"one of two halves open", false, {22, 44e-3}, LoadVerdict::kOutOfTolerance, "in parallel"},
        {"bad contact", false, {18, 22e-3}, LoadVerdict::kOutOfTolerance, "crimps"},
        {"other type", false, {11, 15e-3}, LoadVerdict::kOutOfTolerance, "L too low"},
        {"more of it", false, {11, 30e-3}, LoadVerdict::kOutOfTolerance, "L too high"},
    };
    for (const Case& c : cases) {
        for (unsigned seed = 1; seed <= 3; ++seed) {
            const LoadJudgement j =
                judged(c.horizontal, c.load,
                       expectation(c.horizontal, c.horizontal ? kHorizontal : kVertical,
                                   c.horizontal ? kVertical : kHorizontal),
                       seed);
            INFO(c.name << ": " << word(j.verdict) << ": " << all_words(j));
            CHECK(j.verdict == c.verdict);
            CHECK_THAT(all_words(j), Contains(c.words));
            CHECK((j.verdict == LoadVerdict::kOk || !j.next_steps.empty()));
        }
    }
}

TEST_CASE("a current that flows backwards is reversed, and its R and L are right all the same") {
    std::mt19937 random(41);
    const Bench b = bench(false);
    const StepPlan look = plan_first_look(b.drive);
    StepSamples samples = run(b, {11, 22e-3}, draw_truth(b, random), look, random, 400);
    for (double& amps : samples.amps) {
        amps = -amps;
    }
    const LoadStep step = measure_load_step(samples, b.drive);
    const LoadJudgement j = judge_load(step, expectation(false, kVertical));
    CHECK(j.verdict == LoadVerdict::kReversed);
    CHECK(step.current.value < -0.5);
    CHECK(step.inductance.value == Approx(22e-3).epsilon(0.05));
    CHECK_THAT(all_words(j), Contains("current sense"));
    CHECK_THAT(all_words(j), Contains("its step is the same")); // what it cannot see
}

TEST_CASE("a current that sags is not a coil") {
    std::mt19937 random(42);
    const Bench b = bench(false);
    const StepPlan look = plan_first_look(b.drive);
    StepSamples samples = run(b, {11, 22e-3}, draw_truth(b, random), look, random, 400);
    for (std::size_t i = 0; i < samples.amps.size(); ++i) { // a current transformer's droop
        samples.amps[i] *= samples.time_s[i] > 0 ? std::exp(-samples.time_s[i] / 10e-3) : 1;
    }
    const LoadJudgement j =
        judge_load(measure_load_step(samples, b.drive), expectation(false, kVertical));
    CHECK(j.verdict == LoadVerdict::kNotSure);
    CHECK_THAT(all_words(j), Contains("current transformer"));
}

TEST_CASE("without anything to compare with nobody is sure, shorted turns are still named") {
    CHECK(judged(false, {11, 22e-3}, expectation(false, {})).verdict == LoadVerdict::kNotSure);
    const LoadJudgement j =
        judged(false, with_shorted_turns(11, 22e-3, 0.1, 0.9), expectation(false, {}));
    CHECK(j.verdict == LoadVerdict::kNotSure);
    CHECK_THAT(all_words(j), Contains("shorted turns"));
    CHECK(judged(false, {0.05, 0.5e-6}, expectation(false, {})).verdict == LoadVerdict::kShort);
    CHECK(judged(false, {1e6, 1e-3}, expectation(false, {})).verdict == LoadVerdict::kOpen);
}

TEST_CASE("a yoke learned earlier is a narrower measure than the profile") {
    std::mt19937 random(43);
    const Bench b = bench(false);
    const Truth truth = draw_truth(b, random);
    const LoadStep then = measure(b, {11, 22e-3}, truth, random, 400);
    LoadExpectation e = expectation(false, kVertical);
    e.learned = LearnedCoil{then.resistance, then.inductance, then.fast_inductance, false, 5};
    const auto now = [&](const Load& load) {
        return judge_load(measure(b, load, truth, random, 400), e);
    };
    CHECK(now({11, 22e-3}).verdict == LoadVerdict::kOk);
    CHECK(now({13.1, 22e-3}).verdict == LoadVerdict::kOk); // hot
    const LoadJudgement drifted = now({11, 20.3e-3});      // the profile's 10 % allow it
    CHECK(drifted.verdict == LoadVerdict::kOutOfTolerance);
    CHECK_THAT(drifted.reason, Contains("measured earlier"));
    CHECK(now(with_shorted_turns(11, 22e-3, 0.1, 0.85)).verdict == LoadVerdict::kShortedTurns);
    Load damped{11, 22e-3};
    damped.parallel_ohm = 330;
    const LoadJudgement fresh = now(damped);
    CHECK(fresh.verdict != LoadVerdict::kOk); // it had no such resistor then
    const LoadStep damped_then = measure(b, damped, truth, random, 400);
    e.learned = LearnedCoil{damped_then.resistance, damped_then.inductance,
                            damped_then.fast_inductance, true, 5};
    CHECK(now(damped).verdict == LoadVerdict::kOk);
    CHECK(now(with_shorted_turns(11, 22e-3, 0.1, 0.85)).verdict == LoadVerdict::kShortedTurns);
}

TEST_CASE("what is too uncertain is not judged") {
    Bench b = bench(false);
    b.claims.gain_u_relative = 0.2;
    std::mt19937 random(44);
    Truth truth = draw_truth(b, random);
    truth.gain = 1;
    const LoadStep step = measure(b, {11, 22e-3}, truth, random, 400);
    const LoadJudgement j = judge_load(step, expectation(false, kVertical));
    CHECK(j.verdict == LoadVerdict::kNotSure);
    // A small coil resistance behind a large source: a note, the inductance carries the verdict.
    const LoadJudgement small = judged(true, {0.5, 0.25e-3}, expectation(true, kHorizontal));
    CHECK(small.verdict == LoadVerdict::kOk);
    CHECK_THAT(all_words(small), Contains("four wires"));
}
