// SPDX-License-Identifier: MIT
#include "host/analysis/retrace.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::analysis;

namespace {

constexpr double kLine = 63.556e-6;
constexpr double kField = 1 / 59.94;

Marks marks_of(double period, std::size_t count) {
    return {synthetic::times(0, period, count), period, true};
}

// Share of a half cosine's duration between 90 % and 10 % of its swing: cos = 0.8 to -0.8.
const double kCosine10To90 = (M_PI - 2 * std::acos(0.8)) / M_PI;

// A line current: one sample per line, the place stepping through the line, one-pole lag in front.
capture::Samples line_samples(const synthetic::Sawtooth& wave, double lag_s, double noise,
                              double step, std::size_t count, std::mt19937& random) {
    // The lagged periodic wave, from the exact recursion of one pole on a fine grid, settled over 3
    // periods.
    const std::size_t fine = 20000;
    const double dt = wave.period_s / fine;
    std::vector<double> lagged(fine);
    double y = wave(0);
    for (std::size_t i = 0; i < 4 * fine; ++i) {
        const double now = wave(dt * static_cast<double>(i));
        y = lag_s > 0 ? y + (now - y) * (1 - std::exp(-dt / lag_s)) : now;
        lagged[i % fine] = y;
    }
    const auto wave_after = [&](double t) {
        const double phase = std::fmod(t, wave.period_s) / dt;
        return lagged[static_cast<std::size_t>(phase) % fine];
    };
    std::vector<double> t(count);
    const double place_step = 0.25e-6; // 4 ticks
    const auto places = static_cast<std::size_t>(wave.period_s / place_step);
    for (std::size_t i = 0; i < count; ++i) {
        t[i] =
            wave.period_s * static_cast<double>(i) + place_step * static_cast<double>(i % places);
    }
    capture::Samples s = synthetic::sample(wave_after, t, noise, step, random);
    s.delay_s = lag_s;
    return s;
}

} // namespace

TEST_CASE("a cosine retrace is measured through the input lag, which alone would stretch it") {
    std::mt19937 random(1);
    synthetic::Sawtooth wave{kLine, 11e-6, 1.0, 0.05};
    for (const double lag : {0.0, 0.5e-6, 1.0e-6}) {
        const auto samples = line_samples(wave, lag, 0, 0, 15000, random);
        const Fold folded = fold(samples, marks_of(kLine, 15001));
        const Segments seg = find_segments(folded);
        REQUIRE(seg.problem.empty());
        CHECK(seg.direction == 1);
        const Retrace r = measure_retrace(folded, seg);
        INFO(r.problem << " lag " << lag);
        REQUIRE(r.ok);
        // The fine grid of the reference has 3.2 ns steps; the retrace polynomial is good to 0.1 %.
        CHECK(r.width_10_90_s.value == Approx(11e-6 * kCosine10To90).epsilon(3e-3));
        CHECK(r.swing.value == Approx(2.0).epsilon(3e-3));
        // Extremes of a cosine are flat: where trace takes over is seen to a few per cent of the
        // retrace.
        CHECK(r.full_s.value == Approx(11e-6).epsilon(0.04));
    }
}

TEST_CASE("a stretch of retrace that was not sampled is noticed, and none where all was") {
    std::mt19937 random(1);
    synthetic::Sawtooth wave{kLine, 11e-6, 1.0, 0.05};
    auto samples = line_samples(wave, 0, 0, 0, 15000, random);
    const Fold whole = fold(samples, marks_of(kLine, 15001));
    const Segments seg = find_segments(whole);
    REQUIRE(seg.problem.empty());
    CHECK(unsampled_retrace_s(whole, seg) == 0);
    // From -1 to 1. Five places span 1 us of the 11 us cosine: an extreme is rounded by less than
    // 1 - cos(pi / 11) = 4 % of the amplitude, the swing of 2 by less than 0.08; never upwards.
    CHECK(plain_swing(whole) <= 2.0);
    CHECK(plain_swing(whole) > 1.92);
    // The samples of 3 us after the middle of retrace are lost.
    capture::Samples left = samples;
    left.time_s.clear();
    left.value.clear();
    for (std::size_t i = 0; i < samples.time_s.size(); ++i) {
        const double after = std::fmod(samples.time_s[i] - seg.cross_s + kLine, kLine);
        if (after > 3e-6) {
            left.time_s.push_back(samples.time_s[i]);
            left.value.push_back(samples.value[i]);
        }
    }
    // Places are 0.25 us apart: the gap ends at the next one on either side.
    CHECK(unsampled_retrace_s(fold(left, marks_of(kLine, 15001)), seg) ==
          Approx(3e-6).margin(0.5e-6));
}

TEST_CASE("a vertical retrace of a few samples, falling or rising, one place per line") {
    std::mt19937 random(2);
    for (const double direction : {1.0, -1.0}) {
        for (const double width : {300e-6, 700e-6}) {
            // Exponential towards -3: straight enough to know the truth, bent enough to be real.
            const double k = std::log(4.0 / 2.0);
            const auto wave = [&](double t) {
                const double phase = std::fmod(t, kField);
                const double y = phase < width ? -3 + 4 * std::exp(-k * phase / width)
                                               : -1 + 2 * (phase - width) / (kField - width);
                return direction * y;
            };
            const auto t = synthetic::times(20e-6, kLine, 262 * 30);
            const auto samples = synthetic::sample(wave, t, 5e-3, 0, random);
            const Fold folded = fold(samples, marks_of(kField, 31));
            const Segments seg = find_segments(folded);
            REQUIRE(seg.problem.empty());
            CHECK(seg.direction == direction);
            const Retrace r = measure_retrace(folded, seg);
            REQUIRE(r.ok);
            const auto time_of = [&](double level) {
                return -std::log((level + 3) / 4) / k * width;
            };
            const double truth = time_of(-0.8) - time_of(0.8);
            INFO("width " << width << ", u " << r.width_10_90_s.u);
            CHECK(std::abs(r.width_10_90_s.value - truth) < 3 * r.width_10_90_s.u);
            CHECK(r.width_10_90_s.u < 0.02 * width);
            CHECK(std::abs(r.full_s.value - width) < 3 * r.full_s.u);
            CHECK(r.swing.value == Approx(2).epsilon(0.01));
        }
    }
}

TEST_CASE("2 u covers the retrace times over random boards") {
    synthetic::Coverage line_width, line_full, line_swing, field_width, field_full;
    for (unsigned seed = 1; seed <= 200; ++seed) {
        std::mt19937 random(seed);
        std::uniform_real_distribution<double> uniform(0, 1);
        synthetic::Sawtooth wave{kLine, (9 + 4 * uniform(random)) * 1e-6, 1 + uniform(random), 0};
        const double lag = 0.4e-6;
        auto samples = line_samples(wave, lag, 6e-3, 9.8e-3, 6000, random);
        Fold folded = fold(samples, marks_of(kLine, 6001));
        Retrace r = measure_retrace(folded, find_segments(folded));
        REQUIRE(r.ok);
        line_width.add(r.width_10_90_s.value, r.width_10_90_s.u, wave.retrace_s * kCosine10To90);
        line_full.add(r.full_s.value, r.full_s.u, wave.retrace_s);
        line_swing.add(r.swing.value, r.swing.u, 2 * wave.peak);

        synthetic::Sawtooth slow{kField, 0, 0.35, 0.01};
        const double width = (250 + 600 * uniform(random)) * 1e-6;
        const double k = 0.2 + uniform(random);
        const auto bent = [&](double t) {
            const double phase = std::fmod(t, kField);
            if (phase < width) {
                return 0.35 * (1 - 2 * (1 - std::exp(-k * phase / width)) / (1 - std::exp(-k)));
            }
            return 0.35 * (2 * (phase - width) / (kField - width) - 1);
        };
        samples = synthetic::sample(
            bent, synthetic::times(kLine * uniform(random), kLine, 262 * 30), 2e-3, 3.9e-3, random);
        folded = fold(samples, marks_of(kField, 31));
        r = measure_retrace(folded, find_segments(folded));
        REQUIRE(r.ok);
        const auto time_of = [&](double part) {
            return -std::log(1 - part * (1 - std::exp(-k))) / k * width;
        };
        field_width.add(r.width_10_90_s.value, r.width_10_90_s.u, time_of(0.9) - time_of(0.1));

        field_full.add(r.full_s.value, r.full_s.u, width);
    }
    const std::pair<const char*, const synthetic::Coverage*> list[] = {
        {"line 10-90", &line_width},
        {"line full", &line_full},
        {"line swing", &line_swing},
        {"field 10-90", &field_width},
        {"field full", &field_full}};
    for (const auto& [name, coverage] : list) {
        INFO(name << ": rms error " << coverage->rms_error() << ", rms u " << coverage->rms_u()
                  << ", mean error " << coverage->mean_error());
        CHECK(coverage->share() >= 0.90);
        CHECK(coverage->share() <= 0.995);
    }
}

TEST_CASE("no ramp is said in words: flat line, noise, missing half of the period") {
    std::mt19937 random(3);
    const auto t = synthetic::times(0, kLine, 262 * 10);
    const auto flat = synthetic::sample([](double) { return 0.01; }, t, 5e-3, 4e-3, random);
    CHECK_FALSE(find_segments(fold(flat, marks_of(kField, 11))).problem.empty());
    synthetic::Sawtooth wave{kField, 500e-6, 1.0, 0};
    std::vector<double> half;
    for (const double x : t) {
        if (std::fmod(x, kField) < kField / 2) {
            half.push_back(x);
        }
    }
    const auto samples = synthetic::sample(wave, half, 0, 0, random);
    CHECK(find_segments(fold(samples, marks_of(kField, 11))).problem.find("not sampled") !=
          std::string::npos);
}
