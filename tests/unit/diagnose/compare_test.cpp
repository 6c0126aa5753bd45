// SPDX-License-Identifier: MIT
// Whole comparisons: conditions that make figures incomparable, and what the verdict waits for.
#include "tests/unit/diagnose/synthetic_measurement.hpp"
#include <catch2/catch.hpp>

using namespace yokedock::diagnose;
using Catch::Matchers::Contains;
using synthetic::Board;
using synthetic::compared;
using synthetic::find;
using synthetic::measured;

namespace {

Board another_run(const Board& board) {
    Board again = board;
    again.seed += 1000;
    return again;
}

const Condition* condition(const Comparison& c, const std::string& what) {
    for (const Condition& one : c.conditions) {
        if (one.what == what) {
            return &one;
        }
    }
    return nullptr;
}

Verdict verdict(const Comparison& c, const std::string& name) {
    const FigureComparison* figure = find(c, name);
    REQUIRE(figure != nullptr);
    return figure->verdict;
}

} // namespace

TEST_CASE("Other standards and rates make ramps incomparable, and say so") {
    const auto good = measured(Board{}, "good");
    auto other = measured(another_run(Board{}), "other", good.windows);
    SECTION("standards by name") {
        auto named = good;
        named.measurement.under.standard = "525/59.94";
        other.measurement.under.standard = "625/50";
        const Comparison c = compare(other.measurement, {named.measurement});
        CHECK(verdict(c, "v_yoke_pp_a") == Verdict::kNotComparable);
        CHECK(verdict(c, "h_rate_hz") == Verdict::kNotComparable);
        CHECK(verdict(c, "v_retrace_us") == Verdict::kNotComparable);
        CHECK(verdict(c, "supply_v") == Verdict::kNotComparable);
        CHECK(verdict(c, "heatsink_c") == Verdict::kNotJudged);
        CHECK(c.ramps[0].verdict == Verdict::kNotComparable);
        CHECK(c.verdict == Verdict::kCannotTell);
        REQUIRE(condition(c, "sync") != nullptr);
        CHECK(condition(c, "sync")->stops);
        CHECK_THAT(condition(c, "sync")->text, Contains("625/50") && Contains("525/59.94"));
    }
    SECTION("one rate only stops one axis") {
        other.measurement.under.line_rate_hz *= 1.002;
        const Comparison c = compare(other.measurement, {good.measurement});
        CHECK(verdict(c, "v_yoke_pp_a") == Verdict::kSame);
        CHECK(verdict(c, "h_yoke_pp_a") == Verdict::kNotComparable);
        CHECK(c.axes[0].verdict == Verdict::kSame);
        CHECK(c.axes[1].verdict == Verdict::kCannotTell);
    }
    SECTION("a board that is other at other rates may be so by them alone: no verdict against it") {
        Board changed = another_run(Board{});
        changed.v_retrace_s *= 1.2;
        changed.v_peak *= 1.2;
        changed.h_peak *= 1.2;
        changed.rail_v *= 1.2;
        other = measured(changed, "changed", good.windows);
        CHECK(compare(other.measurement, {good.measurement}).verdict == Verdict::kDifferent);
        for (const double field : {1.0, 60 / 59.94, 50 / 59.94}) {
            other.measurement.under.line_rate_hz = 1.002 * good.measurement.under.line_rate_hz;
            other.measurement.under.field_rate_hz = field * good.measurement.under.field_rate_hz;
            const Comparison c = compare(other.measurement, {good.measurement});
            CHECK(c.verdict == Verdict::kCannotTell);
            REQUIRE(c.axes.size() == 2); // nothing of the supply
            CHECK(c.axes[1].verdict == Verdict::kCannotTell);
            CHECK_THAT(c.axes[1].open.at(0), Contains("line rate") && Contains("Hz in good"));
            // Where its own rate is equal an axis is told by itself.
            CHECK(c.axes[0].verdict == (field == 1 ? Verdict::kDifferent : Verdict::kCannotTell));
            CHECK(find(c, "v_retrace_us")->value >
                  find(c, "v_retrace_us")->reference); // told all the same
            CompareOptions vertical;
            vertical.horizontal = false;
            CHECK(compare(other.measurement, {good.measurement}, vertical).verdict ==
                  c.axes[0].verdict);
        }
    }
    SECTION("sync against none") {
        other.measurement.under.sync_on = false;
        const Comparison c = compare(other.measurement, {good.measurement});
        CHECK(c.ramps[0].verdict == Verdict::kNotComparable);
        CHECK(c.verdict == Verdict::kCannotTell);
    }
    SECTION("a rate that is not known is said") {
        other.measurement.under.field_rate_hz = 0;
        const Comparison c = compare(other.measurement, {good.measurement});
        CHECK(condition(c, "sync")->state == ConditionState::kUnknown);
        CHECK(c.verdict == Verdict::kSame);
    }
}

TEST_CASE("A board out of lock is different, and its ramp is not judged over another window") {
    Board rolling;
    rolling.vertical_rate = 0.97;
    const Comparison c = compared(another_run(rolling), Board{});
    CHECK(c.verdict == Verdict::kDifferent);
    CHECK(verdict(c, "v_locked") == Verdict::kDifferent);
    CHECK(verdict(c, "v_rate_hz") == Verdict::kDifferent);
    CHECK(verdict(c, "v_yoke_pp_a") == Verdict::kNotComparable);
    CHECK(verdict(c, "h_yoke_pp_a") == Verdict::kSame);
    CHECK(c.axes[1].verdict == Verdict::kSame);
}

TEST_CASE("Load, warmth, benches and calibration are said") {
    const auto good = measured(Board{}, "good");
    auto other = measured(another_run(Board{}), "other", good.windows);
    Circumstances& under = other.measurement.under;
    const auto state = [&](const char* what) {
        const Comparison c = compare(other.measurement, {good.measurement});
        const Condition* found = condition(c, what);
        REQUIRE(found != nullptr);
        return found->state;
    };
    CHECK(state("load") == ConditionState::kEqual);
    CHECK(state("bench") == ConditionState::kEqual);
    CHECK(state("warmth") == ConditionState::kEqual);
    under.vertical_coil.resistance_ohm = 15;
    CHECK(state("load") == ConditionState::kOther);
    under.vertical_coil.resistance_ohm.reset();
    CHECK(state("load") == ConditionState::kUnknown);
    under.bench = "bench 14";
    CHECK(state("bench") == ConditionState::kOther);
    under.simulated = true;
    CHECK(state("bench") == ConditionState::kOther);
    under.simulated = false;
    under.bench = "";
    under.imported = true;
    CHECK(state("instruments") == ConditionState::kUnknown);
    Board warm = another_run(Board{});
    warm.celsius = 75;
    other.measurement = measured(warm, "warm", good.windows).measurement;
    CHECK(state("warmth") == ConditionState::kOther);
}

TEST_CASE("Benches of unknown gain cannot prove a size, but still tell shape and retrace") {
    const auto good = measured(Board{}, "good");
    Board run = another_run(Board{});
    auto other = measured(run, "other", good.windows);
    other.measurement.under.bench = "bench 14";
    const Comparison c = compare(other.measurement, {good.measurement});
    // Half a percent of gain each, 0.7 % of the difference: 1.645 of it are 1.2 %, within 1.5 %
    // only when nothing else differs.
    CHECK(find(c, "v_yoke_pp_a")->u == Approx(0.0047).epsilon(0.1));
    CHECK(c.ramps[0].verdict == Verdict::kSame);
    CHECK(verdict(c, "v_retrace_us") == Verdict::kSame);
    run.v_bend = 0.4;
    other = measured(run, "bent", good.windows);
    other.measurement.under.bench = "bench 14";
    const Comparison bent = compare(other.measurement, {good.measurement});
    CHECK(bent.ramps[0].verdict == Verdict::kDifferent);
    CHECK(bent.verdict == Verdict::kDifferent);
}

TEST_CASE("Benches without a serial number are not taken for one, unless somebody says so") {
    auto good = measured(Board{}, "good");
    auto other = measured(another_run(Board{}), "other", good.windows);
    const double one_bench = find(compare(other.measurement, {good.measurement}), "v_yoke_pp_a")->u;
    other.measurement.under.bench = "bench 14";
    const double two = find(compare(other.measurement, {good.measurement}), "v_yoke_pp_a")->u;
    CHECK(two > 2 * one_bench); // else nothing is shown below
    for (const char* reference : {"", "bench 13"}) {
        other.measurement.under.bench = "";
        good.measurement.under.bench = reference;
        const Comparison c = compare(other.measurement, {good.measurement});
        REQUIRE(condition(c, "bench") != nullptr);
        CHECK(condition(c, "bench")->state == ConditionState::kUnknown);
        CHECK_THAT(condition(c, "bench")->text,
                   Contains("whether it is one bench is not known (no serial number)"));
        CHECK(find(c, "v_yoke_pp_a")->u == Approx(two));
        CompareOptions said;
        said.same_instruments = true;
        const Comparison sure = compare(other.measurement, {good.measurement}, said);
        CHECK(condition(sure, "bench") == nullptr);
        CHECK(find(sure, "v_yoke_pp_a")->u == Approx(one_bench));
    }
}

TEST_CASE("The verdict waits for both axes unless told otherwise") {
    const auto good = measured(Board{}, "good");
    auto other = measured(another_run(Board{}), "other", good.windows);
    for (auto& figure : other.measurement.figures) {
        if (figure.name.rfind("h_", 0) == 0) {
            figure = yokedock::analysis::not_measured(figure.name, figure.text, figure.unit,
                                                      "h_yoke_a was not sampled");
        }
    }
    other.measurement.curves.pop_back();
    other.measurement.channels.erase("h_yoke_a");
    CHECK(compare(other.measurement, {good.measurement}).verdict == Verdict::kCannotTell);
    CompareOptions vertical;
    vertical.horizontal = false;
    const Comparison c = compare(other.measurement, {good.measurement}, vertical);
    CHECK(c.verdict == Verdict::kSame);
    CHECK(find(c, "h_rate_hz") == nullptr);
}

TEST_CASE("What is open of the retrace is told of the reading of it that both have") {
    using yokedock::analysis::Figure;
    using yokedock::analysis::not_measured;
    const auto pulse = [](bool there) {
        return there ? yokedock::analysis::measured("v_retrace_pulse_us", "pulse", "us", 600, 0.1,
                                                    100, "m")
                     : not_measured("v_retrace_pulse_us", "pulse", "us", "not stamped");
    };
    const auto slope = [](bool there, double u = 60) {
        return there ? yokedock::analysis::measured("v_retrace_us", "10 to 90 %", "us", 480, u, 9,
                                                    "m")
                     : not_measured("v_retrace_us", "10 to 90 %", "us", "no ramp");
    };
    const auto open = [](const Figure& a, const Figure& b, const Figure& ra, const Figure& rb) {
        Measurement record;
        Measurement good;
        record.name = "record";
        good.name = "good";
        record.figures = {a, b};
        good.figures = {ra, rb};
        const Comparison c = compare(record, {good}); // must outlive the loop
        for (const std::string& one : c.axes[0].open) {
            if (one.rfind("retrace", 0) == 0) {
                return one;
            }
        }
        return std::string();
    };
    // 60 us of u prove no 2.5 % of 480 us.
    CHECK(open(pulse(false), slope(true), pulse(false), slope(true)) ==
          "retrace: within tolerance, but not measured well enough to prove it");
    CHECK(open(pulse(true), slope(true), pulse(false), slope(true)) ==
          "retrace: within tolerance, but not measured well enough to prove it");
    CHECK(open(pulse(true), slope(false), pulse(false), slope(true)) ==
          "retrace: pulse: not measured in good: not stamped");
    CHECK(open(pulse(false), slope(false), pulse(false), slope(true)) ==
          "retrace: not measured in record: no ramp");
    CHECK(open(pulse(false), slope(false), pulse(false), slope(false)) ==
          "retrace: not measured in good: not stamped");
    CHECK(open(pulse(false), slope(true, 1), pulse(false), slope(true, 1)).empty()); // the same
}

TEST_CASE("A fault in the fold of the ramp is found by its shape, with its place") {
    Board bent;
    bent.v_bend = 0.35; // from 0.15: bow by about 0.1 / 6 of p-p more
    const Comparison c = compared(another_run(bent), Board{});
    CHECK(c.verdict == Verdict::kDifferent);
    CHECK(c.ramps[0].verdict == Verdict::kDifferent);
    CHECK(c.ramps[1].verdict == Verdict::kSame);
    CHECK(verdict(c, "v_yoke_linearity_lsq_pct") == Verdict::kDifferent);
    REQUIRE_FALSE(c.axes[0].differ.empty());
}
