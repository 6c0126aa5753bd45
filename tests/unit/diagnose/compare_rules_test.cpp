// SPDX-License-Identifier: MIT
// The rule for one figure, on figures made by hand.
#include "host/diagnose/compare_parts.hpp"
#include "tests/unit/diagnose/synthetic_measurement.hpp"
#include <catch2/catch.hpp>
#include <random>

using namespace yokedock;
using namespace yokedock::diagnose;
using analysis::Figure;

namespace {

Measurement with(const std::string& name, const Figure& figure) {
    Measurement m;
    m.name = name;
    m.figures = {figure};
    m.under.bench = "bench 1";
    m.under.scale = {1};
    m.under.line_rate_hz = 15734;
    m.under.field_rate_hz = 59.94;
    m.under.sync_on = true;
    m.channels = {{"v_yoke_a", {1.0, 63.5e-6}}};
    return m;
}

Figure size(double value, double u, double u_scale = 0) {
    Figure f = analysis::measured("v_yoke_pp_a", "size", "A", value, std::hypot(u, u_scale), 100,
                                  "made by hand");
    f.u_scale = u_scale;
    return f;
}

FigureComparison one(const Figure& record, const std::vector<Figure>& references,
                     const CompareOptions& options = {}) {
    std::vector<Measurement> others;
    for (const Figure& figure : references) {
        others.push_back(with("reference " + std::to_string(others.size()), figure));
    }
    const Comparison c = compare(with("record", record), others, options);
    REQUIRE(c.figures.size() == 1);
    return c.figures[0];
}

} // namespace

TEST_CASE("A difference within tolerance is the same, beyond it different, in doubt neither") {
    // Tolerance 1.5 % of 1 A. One test: coverage is the normal quantile of 1 - 0.01 / 2, 2.576.
    const auto verdict = [](double value, double u) {
        return one(size(value, u), {size(1, 0)}).verdict;
    };
    CHECK(verdict(1.000, 0.001) == Verdict::kSame);
    CHECK(verdict(1.013, 0.001) == Verdict::kSame);       // 0.013 + 1.645 * 0.001 < 0.015
    CHECK(verdict(1.014, 0.001) == Verdict::kCannotTell); // 0.014 + 0.0016 > 0.015
    CHECK(verdict(1.016, 0.001) == Verdict::kDifferent);
    CHECK(verdict(1.016, 0.006) == Verdict::kDifferent); // 0.016 > 2.576 * 0.006 = 0.0155
    CHECK(verdict(1.016, 0.0064) == Verdict::kCannotTell);
    CHECK(verdict(1.000, 0.010) == Verdict::kCannotTell); // 1.645 * 0.010 > 0.015
    CHECK(verdict(0.980, 0.001) == Verdict::kDifferent);
}

TEST_CASE("A real difference within tolerance is told as real and as the same") {
    const FigureComparison c = one(size(1.01, 0.001), {size(1, 0.001)});
    CHECK(c.verdict == Verdict::kSame);
    CHECK(c.real);
    CHECK_FALSE(one(size(1.001, 0.001), {size(1, 0.001)}).real);
    CHECK(c.u == Approx(0.001 * std::sqrt(2.0)));
    CHECK(c.tolerance == Approx(0.015));
    CHECK(c.basis == "default");
}

TEST_CASE("Gain and zero drop out of a comparison on one bench and count on two") {
    Measurement record = with("record", size(1.02, 0.001, 0.02));
    const Measurement reference = with("reference", size(1, 0.001, 0.02));
    CHECK(compare(record, {reference}).figures[0].verdict == Verdict::kDifferent);
    record.under.bench = "bench 2";
    const FigureComparison two = compare(record, {reference}).figures[0];
    CHECK(two.verdict == Verdict::kCannotTell);
    CHECK(two.u == Approx(std::sqrt(2 * (0.001 * 0.001 + 0.02 * 0.02))));
    record.under.bench = "bench 1";
    record.under.scale = {1.001}; // calibrated between the two
    CHECK(compare(record, {reference}).figures[0].u == Approx(two.u));
    CompareOptions said;
    said.same_instruments = true;
    record.under.bench = "";
    CHECK(compare(record, {reference}, said).figures[0].u == Approx(0.001 * std::sqrt(2.0)));
}

TEST_CASE("Runs of one board that scatter more than they state count with their scatter") {
    // Mean 1, sd 0.002 on three runs that state 0.001: moderated variance (8 * 1 + 2 * 4) / 10 =
    // 1.6e-6 with 10 degrees of freedom; both sides share it: u = sqrt(1.6e-6 * (1 + 1/3)).
    CompareOptions runs;
    runs.kind = ReferenceKind::kSameBoard;
    const FigureComparison c =
        one(size(1, 0.001), {size(0.998, 0.001), size(1, 0.001), size(1.002, 0.001)}, runs);
    CHECK(c.spread == Approx(0.002));
    CHECK(c.u == Approx(std::sqrt(1.6e-6 * 4 / 3)));
    CHECK(c.freedoms == Approx(10));
    CHECK(c.coverage == Approx(3.169).margin(0.001)); // t(0.995, 10), NIST table
    // Less scatter than stated: the statement stands.
    const FigureComparison calm =
        one(size(1, 0.001), {size(0.9999, 0.001), size(1.0001, 0.001)}, runs);
    CHECK(calm.u == Approx(0.001 * std::sqrt(1.5)));
    CHECK(calm.freedoms == kManyFreedoms);
}

TEST_CASE("Several good boards leave room for how they differ") {
    CompareOptions others;
    others.kind = ReferenceKind::kOtherBoards;
    // Five boards, sd 0.02: s^2 = (8 * 0.015^2 + 4 * 0.02^2) / 12, one test: t(0.975, 12) = 2.179.
    const std::vector<Figure> boards{size(0.98, 1e-4), size(0.98, 1e-4), size(1, 1e-4),
                                     size(1.02, 1e-4), size(1.02, 1e-4)};
    const FigureComparison c = one(size(1.03, 1e-4), boards, others);
    CHECK(c.spread == Approx(0.02));
    CHECK(c.tolerance ==
          Approx(2.179 * std::sqrt((8 * 0.015 * 0.015 + 4 * 0.02 * 0.02) / 12) * std::sqrt(1.2))
              .epsilon(1e-3));
    CHECK(c.basis == "spread of 5 boards");
    CHECK(c.verdict == Verdict::kSame);
    CHECK(one(size(1.06, 1e-4), boards, others).verdict == Verdict::kDifferent);
    // A stated tolerance stands, whatever the boards do.
    others.tolerance["v_yoke_pp_a"] = 0.01;
    CHECK(one(size(1.03, 1e-4), boards, others).verdict == Verdict::kDifferent);
    CHECK(one(size(1.03, 1e-4), boards, others).basis == "stated");
}

TEST_CASE("The band of the spread holds what it promises, however few boards there are") {
    // Boards from a normal distribution whose sd is the default tolerance, the worst the prior is
    // right for; one figure: 5 % outside. 4000 trials: sd of the share sqrt(0.05 * 0.95 / 4000) =
    // 0.0034, three of them allowed. Less scatter than the prior: fewer outside, never more.
    std::mt19937 random(7);
    std::normal_distribution<double> normal;
    CompareOptions others;
    others.kind = ReferenceKind::kOtherBoards;
    for (const std::size_t n : {1u, 2u, 5u, 12u}) {
        for (const double sd : {0.015, 0.005}) {
            int outside = 0;
            constexpr int kTrials = 4000;
            for (int i = 0; i < kTrials; ++i) {
                std::vector<double> values;
                for (std::size_t k = 0; k < n; ++k) {
                    values.push_back(1 + sd * normal(random));
                }
                const Pooled pooled = pool(values, std::vector<double>(n, 0.0));
                const Doubt doubt =
                    doubt_of(0, pooled, {0.015, false, 0.015}, ReferenceKind::kOtherBoards, 1);
                outside += std::abs(1 + sd * normal(random) - pooled.mean) > doubt.tolerance;
            }
            INFO(n << " boards, sd " << sd << ": " << outside);
            CHECK(outside < kTrials * (0.05 + 3 * 0.0034));
        }
    }
}

TEST_CASE("What was not measured is never called the same") {
    const Figure none = analysis::not_measured("v_yoke_pp_a", "size", "A", "no ramp");
    CHECK(one(none, {size(1, 0.001)}).verdict == Verdict::kNotMeasured);
    CHECK(one(size(1, 0.001), {none}).verdict == Verdict::kNotMeasured);
    CHECK(one(size(1, 0.001), {none}).reason == "not measured in reference 0: no ramp");
    Figure bound = size(1, 0.001);
    bound.status = analysis::FigureStatus::kOutOfRange;
    bound.reason = "at the top";
    CHECK(one(bound, {size(1, 0.001)}).verdict == Verdict::kNotMeasured);
    CHECK(one(size(1, std::nan("")), {size(1, 0.001)}).verdict == Verdict::kCannotTell);
    const Comparison whole =
        compare(with("record", size(1, 0.001)), {with("good", size(1, 0.001))});
    CHECK(whole.verdict == Verdict::kCannotTell); // size alone is no board
}

TEST_CASE("A board without a rate while it was looked at is different, unless nobody looked") {
    const Figure rate = analysis::measured("v_rate_hz", "rate", "Hz", 59.94, 1e-5, 100, "m");
    const Figure none = analysis::not_measured("v_rate_hz", "rate", "Hz", "no retrace edges");
    CHECK(one(none, {rate}).verdict == Verdict::kDifferent);
    Measurement blind = with("record", none);
    blind.channels.clear();
    CHECK(compare(blind, {with("good", rate)}).figures[0].verdict == Verdict::kNotMeasured);
    CHECK(compare(with("record", rate), {with("good", none)}).figures[0].verdict ==
          Verdict::kNotMeasured);
}

TEST_CASE("A record too short or too coarse to show a rate does not prove that there is none") {
    const Figure rate = analysis::measured("v_rate_hz", "rate", "Hz", 50, 1e-5, 100, "m");
    Measurement record =
        with("record", analysis::not_measured("v_rate_hz", "rate", "Hz", "no retrace edges"));
    const auto verdict = [&](const Sampling& sampling, bool imported) {
        record.channels["v_yoke_a"] = sampling;
        record.under.imported = imported;
        const Comparison c = compare(record, {with("good", rate)});
        CHECK((c.verdict == Verdict::kDifferent) == (c.figures[0].verdict == Verdict::kDifferent));
        CHECK_FALSE(c.figures[0].reason.empty());
        return c.figures[0].verdict;
    };
    // Of 20 ms each.
    CHECK(verdict({20e-6, 20e-6}, true) == Verdict::kNotMeasured);
    CHECK(verdict({0.119, 20e-6}, true) == Verdict::kNotMeasured);
    CHECK(verdict({0.121, 20e-6}, true) == Verdict::kDifferent);
    CHECK(verdict({0.119, 20e-6}, false) == Verdict::kNotMeasured);
    CHECK(verdict({1, 2.4e-3}, true) == Verdict::kDifferent); // 8.3 samples per period
    CHECK(verdict({1, 2.6e-3}, true) == Verdict::kNotMeasured);
    CHECK(verdict({1, 2.6e-3}, false) == Verdict::kDifferent); // comparators watch in between
}

TEST_CASE("How long a channel was sampled leaves out its gaps") {
    capture::Observation o;
    auto& samples = o.channels["v_yoke_a"];
    const auto add = [&](double begin_s, int n) {
        for (int i = 0; i < n; ++i) {
            samples.time_s.push_back(begin_s + i * 1e-3);
            samples.value.push_back(0);
        }
    };
    add(0, 50);
    add(10, 101);
    add(20, 30);
    o.channels["supply_v"] = {};
    const auto found = samplings_of(o);
    CHECK(found.at("v_yoke_a").seconds == Approx(0.1));
    CHECK(found.at("v_yoke_a").step_s == Approx(1e-3));
    CHECK(found.at("supply_v").seconds == 0);
}

TEST_CASE("Lock is yes or no, and counts of edges have the root of their number") {
    const auto lock = [](double v) {
        return analysis::measured("v_locked", "locked", "", v, 0, 100, "m");
    };
    CHECK(one(lock(1), {lock(1)}).verdict == Verdict::kSame);
    CHECK(one(lock(0), {lock(1)}).verdict == Verdict::kDifferent);
    CHECK(one(lock(1), {lock(1), lock(0)}).verdict == Verdict::kCannotTell);
    const auto missing = [](double v) {
        return analysis::measured("h_missing_edges", "missing", "", v, 0, 100, "m");
    };
    CHECK(one(missing(0), {missing(0)}).verdict == Verdict::kSame);
    // 3 against 0: beyond 2, but sqrt(3) * 2.576 = 4.5 can do that.
    CHECK(one(missing(3), {missing(0)}).verdict == Verdict::kCannotTell);
    CHECK(one(missing(100), {missing(0)}).verdict == Verdict::kDifferent);
}

TEST_CASE(
    "Every figure of the analysis has its rule, and the shown ones are those of bench and room") {
    const auto result = analysis::analyse({});
    const std::set<std::string> shown{"v_sync_rate_hz", "h_sync_rate_hz", "mains_hz",
                                      "heatsink_c",     "ref_v",          "ref_error_mv"};
    REQUIRE(result.figures.size() > 50);
    for (const Figure& figure : result.figures) {
        INFO(figure.name);
        const FigureRule rule = rule_of(figure.name);
        CHECK((rule.way == FigureRule::Way::kShown) == (shown.count(figure.name) == 1));
        if (rule.way == FigureRule::Way::kMeasured) {
            CHECK(default_tolerance(rule, 1, 1) > 0);
        }
    }
}
