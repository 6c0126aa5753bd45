// SPDX-License-Identifier: MIT
// Ramps of known difference, written down here.
#include "host/diagnose/compare_parts.hpp"
#include <catch2/catch.hpp>
#include <random>

using namespace yokedock;
using namespace yokedock::diagnose;

namespace {

constexpr double kU = 1e-4; // A, per place; the ramps are 2 A p-p

template <class F> analysis::RampCurve curve(const F& f, const char* channel = "v_yoke_a") {
    analysis::RampCurve c;
    c.channel = channel;
    c.unit = "A";
    c.against_sync = true;
    c.window_begin_s = 1e-3;
    c.window_end_s = 16e-3;
    for (std::size_t i = 0; i < analysis::kCurvePlaces; ++i) {
        const double x = -1 + 2 * static_cast<double>(i) / (analysis::kCurvePlaces - 1);
        c.value.push_back(f(x));
        c.u.push_back(kU);
    }
    return c;
}

Measurement with(const std::string& name, const analysis::RampCurve& c) {
    Measurement m;
    m.name = name;
    m.curves = {c};
    m.under.bench = "bench 1";
    m.under.scale = {1};
    return m;
}

RampComparison one(const analysis::RampCurve& record,
                   const std::vector<analysis::RampCurve>& references,
                   const CompareOptions& options = {}) {
    std::vector<Measurement> others;
    for (const auto& reference : references) {
        others.push_back(with("good", reference));
    }
    return compare(with("record", record), others, options).ramps[0];
}

double straight(double x) {
    return x;
}

} // namespace

TEST_CASE("The same shape in another size and place is told as that") {
    const RampComparison c =
        one(curve([](double x) { return 0.97 * x + 0.02; }), {curve(straight)});
    CHECK(c.verdict == Verdict::kSame);
    CHECK(c.size_ratio == Approx(0.97));
    CHECK(c.shift_pct == Approx(1.0)); // 0.02 A of 2 A
    CHECK(c.pp == Approx(2));
    // As they are: -0.03 x + 0.02, largest at the left end: 0.05 A, 2.5 % of p-p.
    CHECK(c.largest.pct == Approx(2.5));
    CHECK(c.largest.place == -1);
    CHECK(c.largest.where == "top");
    CHECK(std::abs(c.shape_largest.pct) < 1e-9);
    CHECK(c.shape_rms_pct == 0);
}

TEST_CASE("A bow is another shape, with its size, its place and its root mean square") {
    // 0.02 A of P2 = (3 x^2 - 1) / 2: orthogonal to size and centring over the whole window, so all
    // of it is left: 1 % of p-p at the ends; rms of P2 over -1 .. 1 is 1 / sqrt(5). The sum over
    // 101 places misses that integral by about 1 / 100 of it.
    const auto bowed = curve([](double x) { return x + 0.02 * (3 * x * x - 1) / 2; });
    const RampComparison c = one(bowed, {curve(straight)});
    CHECK(c.verdict == Verdict::kDifferent);
    CHECK(c.size_ratio == Approx(1).margin(1e-9));
    CHECK(std::abs(c.shape_largest.pct) == Approx(1).epsilon(0.02));
    CHECK(std::abs(c.shape_largest.place) == 1);
    CHECK(c.shape_rms_pct == Approx(1 / std::sqrt(5.0)).epsilon(0.03));
    CHECK(c.shape_largest.u_pct == Approx(100 * kU * std::sqrt(2.0) / 2));
    // A fifth of it is within tolerance.
    CHECK(one(curve([](double x) { return x + 0.004 * (3 * x * x - 1) / 2; }), {curve(straight)})
              .verdict == Verdict::kSame);
}

TEST_CASE("A kink is found where it is on the picture") {
    const auto kink = [](double at) {
        return curve([at](double x) { return x + 0.03 * std::exp(-std::pow((x - at) / 0.1, 2)); });
    };
    CHECK(one(kink(-0.8), {curve(straight)}).shape_largest.where == "top");
    CHECK(one(kink(0), {curve(straight)}).shape_largest.where == "middle");
    CHECK(one(kink(0.8), {curve(straight)}).shape_largest.where == "bottom");
    CHECK(one(kink(0.8), {curve(straight)}).verdict == Verdict::kDifferent);
}

TEST_CASE("Noise takes itself off the root mean square") {
    std::mt19937 random(3);
    std::normal_distribution<double> normal(0, kU);
    // Mean square of the difference of two: 2 u^2 (1 +- sqrt(2 / 99)); four of those: 57 %, so
    // what is left of it is at most sqrt(0.57) of its root.
    const RampComparison c = one(curve([&](double x) { return x + normal(random); }),
                                 {curve([&](double x) { return x + normal(random); })});
    const double noise_pct = 100 * kU * std::sqrt(2.0) / 2;
    CHECK(c.shape_rms_pct < std::sqrt(0.57) * noise_pct);
    CHECK(c.shape_rms_u_pct == Approx(noise_pct).epsilon(1e-3)); // p-p has noise, too
    CHECK(c.verdict == Verdict::kSame);
}

TEST_CASE("Gain and zero widen size and centring of other benches, not the shape") {
    auto a = curve(straight);
    auto b = curve(straight);
    a.gain_u_relative = b.gain_u_relative = 0.01;
    a.zero_u = b.zero_u = 0.01;
    Measurement record = with("record", a);
    CHECK(compare(record, {with("good", b)}).ramps[0].size_ratio_u < 1e-3);
    record.under.bench = "bench 2";
    const RampComparison c = compare(record, {with("good", b)}).ramps[0];
    CHECK(c.size_ratio_u == Approx(0.01 * std::sqrt(2.0)).epsilon(0.01));
    CHECK(c.shift_u_pct == Approx(100 * 0.01 * std::sqrt(2.0) / 2).epsilon(0.01));
    CHECK(c.verdict == Verdict::kSame);
    CHECK(c.shape_largest.u_pct == Approx(100 * kU * std::sqrt(2.0) / 2));
}

TEST_CASE("A ramp that was measured badly at one place cannot be told") {
    auto doubtful = curve(straight);
    doubtful.u.back() = 0.02; // 1 % of p-p, tolerance 0.5 %
    const RampComparison c = one(doubtful, {curve(straight)});
    CHECK(c.verdict == Verdict::kCannotTell);
    CHECK_FALSE(c.reason.empty());
}

TEST_CASE("Ramps over different windows, or of one board only, are not compared") {
    auto other = curve(straight);
    other.window_begin_s = 2e-3;
    CHECK(one(other, {curve(straight)}).verdict == Verdict::kNotComparable);
    const Comparison c =
        compare(with("record", curve(straight)), {Measurement{"good", {}, {}, {}, {}}});
    CHECK(c.ramps[0].verdict == Verdict::kNotMeasured);
    CHECK(c.ramps[0].reason == "no ramp in good");
    CHECK(c.ramps[1].verdict == Verdict::kNotMeasured);
}

TEST_CASE("Good boards that differ in shape leave room for that") {
    const auto bowed = [](double p2) {
        return curve([p2](double x) { return x + p2 * (3 * x * x - 1) / 2; });
    };
    CompareOptions others;
    others.kind = ReferenceKind::kOtherBoards;
    const std::vector<analysis::RampCurve> spread{bowed(-0.03), bowed(-0.015), bowed(0),
                                                  bowed(0.015), bowed(0.03)};
    CHECK(one(bowed(0.03), spread, others).verdict == Verdict::kSame); // 1.5 % of p-p
    CHECK(one(bowed(0.03), {curve(straight)}).verdict == Verdict::kDifferent);
    CHECK(one(bowed(0.2), spread, others).verdict == Verdict::kDifferent); // 10 %
}
