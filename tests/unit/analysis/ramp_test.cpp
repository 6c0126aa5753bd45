// SPDX-License-Identifier: MIT
#include "host/analysis/hum.hpp"
#include "host/analysis/ramp.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::analysis;

namespace {

constexpr double kField = 1 / 59.94;

Marks marks_of(double period, std::size_t count) {
    return {synthetic::times(0, period, count), period, true};
}

// A curve over one window that fills all of x = 0 .. 1.
RampShape shape_of(const synthetic::Waveform& f, double noise = 0, unsigned seed = 1,
                   double step = 0) {
    std::mt19937 random(seed);
    const std::size_t fields = 30;
    const auto t = synthetic::times(1e-5, 63.556e-6, fields * 262);
    const auto wave = [&](double time) { return f(std::fmod(time, kField) / kField); };
    const auto samples = synthetic::sample(wave, t, noise, step, random);
    ShapeInput input;
    input.window = {0, kField};
    return measure_ramp(fold(samples, marks_of(kField, fields)), input);
}

} // namespace

TEST_CASE(
    "the exponential ramp reads what MEASUREMENTS section 2 tabulates, by all four definitions") {
    struct Row {
        double a, end, lsq, mean, max_min;
    };
    // The table has 4 or 3 decimals: half a unit of its last place, at most 1e-3 as the contract
    // says.
    for (const Row& r :
         {Row{0.02, 0.2500, 0.1670, 1.800, 0.900}, Row{0.05, 0.6250, 0.4187, 4.500, 2.250},
          Row{0.10, 1.2498, 0.8415, 8.999, 4.497}, Row{0.20, 2.4986, 1.6988, 17.995, 8.976}}) {
        const RampShape s = shape_of([&](double x) { return 1 - std::exp(-r.a * x); });
        REQUIRE(s.ok);
        INFO("a = " << r.a);
        CHECK(s.linearity_end_pct.value == Approx(r.end).margin(1e-3));
        CHECK(s.linearity_lsq_pct.value == Approx(r.lsq).margin(1e-3));
        CHECK(s.spacing_mean_pct.value == Approx(r.mean).margin(1e-3));
        CHECK(s.spacing_pct.value == Approx(r.max_min).margin(1e-3));
        CHECK(s.foldover_pct.value == 0);
    }
}

TEST_CASE(
    "S-correction: end-point deviation of i = sin(q x), and the intended S leaves no bow or S") {
    struct Row {
        double q, end;
    };
    for (const Row& r : {Row{0.5, 0.82}, Row{0.7, 1.65}}) {
        const auto f = [&](double x) { return std::sin(r.q * (2 * x - 1)); };
        const RampShape s = shape_of(f);
        REQUIRE(s.ok);
        CHECK(s.linearity_end_pct.value ==
              Approx(r.end).margin(0.005)); // the source has two decimals
        CHECK(s.s_pct.value < -0.5);        // ends compressed
        std::mt19937 random(1);
        const auto t = synthetic::times(1e-5, 63.556e-6, 262 * 30);
        const auto bowed = [&](double time) {
            const double x = std::fmod(time, kField) / kField;
            return f(x) + 0.02 * (2 * x - 1) * (2 * x - 1);
        };
        ShapeInput input;
        input.window = {0.05 * kField, 0.95 * kField};
        input.intended = {r.q, 0, kField};
        const auto folded = fold(synthetic::sample(bowed, t, 0, 0, random), marks_of(kField, 30));
        const RampShape freed = measure_ramp(folded, input);
        // 0.02 x^2 over x = -0.9 .. 0.9 is 0.02 * 0.81 * 2/3 of P2.
        const double pp = 2 * std::sin(r.q * 0.9);
        CHECK(freed.bow_pct.value == Approx(100 * 0.02 * 0.81 * 2 / 3 / pp).epsilon(1e-3));
        CHECK(freed.s_error_pct.value == Approx(0).margin(1e-3));
    }
}

TEST_CASE("noise and 10-bit steps do not make a straight ramp read large or crooked") {
    double lsq = 0;
    double pp = 0;
    const int seeds = 40;
    for (unsigned seed = 1; seed <= seeds; ++seed) {
        // 0.7 A p-p, noise 5 mA (raw extremes would read 0.735), codes of 3.9 mA.
        const RampShape s = shape_of([](double x) { return 0.7 * (x - 0.5); }, 5e-3, seed, 3.9e-3);
        REQUIRE(s.ok);
        lsq += s.linearity_lsq_pct.value / seeds;
        pp += s.pp.value / seeds;
    }
    // A fit of 6 coefficients over 7860 samples knows the ends to about 5 mA * 6 / sqrt(7860) =
    // 0.34 mA = 0.05 %: the mean of a largest deviation from a straight ramp must stay below that.
    CHECK(lsq < 0.05);
    CHECK(pp == Approx(0.7).epsilon(5e-4));
}

TEST_CASE("fold-over inside the window shows as time in which the current runs backwards") {
    const RampShape s =
        shape_of([](double x) { return x < 0.9 ? x : 0.9 - 0.5 * (x - 0.9); }, 2e-3);
    REQUIRE(s.ok);
    // The turn is a corner, which the fitted curve rounds over about one of its 32 intervals: 3 %.
    CHECK(s.foldover_pct.value == Approx(10).margin(3));
    CHECK(s.foldover_pct.place > 0.7);
}

TEST_CASE("2 u covers the truth for every figure of a noisy, quantised, hum-modulated ramp") {
    struct Case {
        const char* name;
        double noise, step, hum;
    };
    for (const Case& c : {Case{"noise", 4e-3, 0, 0}, Case{"noise and codes", 2e-3, 3.9e-3, 0},
                          Case{"codes only", 0, 3.9e-3, 0}, Case{"hum", 2e-3, 3.9e-3, 0.01}}) {
        synthetic::Coverage pp, centring, bow, s_coverage, lsq, end, spacing_coverage;
        for (unsigned seed = 1; seed <= 120; ++seed) {
            std::mt19937 random(seed);
            std::uniform_real_distribution<double> uniform(0, 1);
            const double amplitude = 0.35 * (1 + 0.1 * uniform(random));
            const double a = 0.05 + 0.3 * uniform(random);
            const double offset = 0.02 * (uniform(random) - 0.5);
            const double hum_phase = 2 * M_PI * uniform(random);
            const auto clean = [&](double x) {
                return offset + amplitude * (2 * (1 - std::exp(-a * x)) / (1 - std::exp(-a)) - 1);
            };
            const std::size_t fields = 30;
            const auto wave = [&](double t) {
                const double x = std::fmod(t, kField) / kField;
                return clean(x) + c.hum * std::sin(2 * M_PI * 50 * t + hum_phase);
            };
            const auto samples = synthetic::sample(
                wave, synthetic::times(1e-5, 63.556e-6, 262 * fields), c.noise, c.step, random);
            ShapeInput input;
            input.window = {0, kField};
            Fold folded = fold(samples, marks_of(kField, fields));
            RampShape got = measure_ramp(folded, input);
            if (c.hum > 0) { // as analyse() does
                const Hum hum = measure_hum(folded, got.fit, 50);
                REQUIRE(hum.ok);
                CHECK(hum.significant);
                CHECK(hum.position_pct == Approx(100 * c.hum / amplitude).epsilon(0.03));
                remove_hum(folded, got.fit, hum);
                got = measure_ramp(folded, input);
            }
            // Truth: the same definitions on the clean curve, sampled without noise, quantisation
            // or hum.
            const auto clean_samples =
                synthetic::sample([&](double t) { return clean(std::fmod(t, kField) / kField); },
                                  synthetic::times(1e-5, 63.556e-6, 262), 0, 0, random);
            const RampShape truth = measure_ramp(fold(clean_samples, marks_of(kField, 1)), input);
            REQUIRE(got.ok);
            REQUIRE(truth.ok);
            pp.add(got.pp.value, got.pp.u, 2 * amplitude);
            centring.add(got.centring.value, got.centring.u, truth.centring.value);
            bow.add(got.bow_pct.value, got.bow_pct.u, truth.bow_pct.value);
            s_coverage.add(got.s_pct.value, got.s_pct.u, truth.s_pct.value);
            lsq.add(got.linearity_lsq_pct.value, got.linearity_lsq_pct.u,
                    truth.linearity_lsq_pct.value);
            end.add(got.linearity_end_pct.value, got.linearity_end_pct.u,
                    truth.linearity_end_pct.value);
            spacing_coverage.add(got.spacing_pct.value, got.spacing_pct.u, truth.spacing_pct.value);
        }
        const std::pair<const char*, const synthetic::Coverage*> list[] = {
            {"pp", &pp},
            {"centring", &centring},
            {"bow", &bow},
            {"s", &s_coverage},
            {"lsq", &lsq},
            {"end", &end},
            {"spacing", &spacing_coverage}};
        for (const auto& [name, coverage] : list) {
            INFO(c.name << ", " << name << ": rms error " << coverage->rms_error() << ", rms u "
                        << coverage->rms_u() << ", mean error " << coverage->mean_error());
            CHECK(coverage->share() >= 0.90);
            CHECK(coverage->share() <= 0.995);
        }
    }
}
