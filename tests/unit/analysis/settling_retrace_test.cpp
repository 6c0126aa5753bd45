// SPDX-License-Identifier: MIT
// A vertical retrace that is fast first, while the output drives its full voltage against the yoke,
// and then settles into the trace exponentially: what an R-L load does behind an amplifier that
// comes back into control (textbook). Written down in closed form; shares nothing with the
// simulated board.
#include "host/analysis/settling_retrace.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::analysis;

namespace {

constexpr double kLine = 63.556e-6;
constexpr double kField = 262.5 * kLine;

/// From +1 at phase 0 an exponential towards -aim until fast_s, then the trace's straight line plus
/// what is left, dying away with tau.
struct Settling {
    double fast_s = 450e-6;
    double aim = 3;
    double level = -0.4; ///< where the fast part ends
    double tau_s = 150e-6;
    double amplitude = 0.4;

    [[nodiscard]] double trace(double t) const { return -1 + 2 * t / kField; }
    [[nodiscard]] double rate() const { return std::log((1 + aim) / (level + aim)) / fast_s; }
    [[nodiscard]] double rest() const { return level - trace(fast_s); }
    [[nodiscard]] double unit(double t) const {
        if (t < fast_s) {
            return -aim + (1 + aim) * std::exp(-rate() * t);
        }
        return trace(t) + rest() * std::exp(-(t - fast_s) / tau_s);
    }
    [[nodiscard]] double operator()(double t) const {
        const double turns = std::floor(t / kField);
        return amplitude * unit(t - turns * kField);
    }
    // d/dt (trace + rest e^-x) = 0.
    [[nodiscard]] double end_s() const {
        return fast_s + tau_s * std::log(rest() / (tau_s * 2 / kField));
    }
    [[nodiscard]] double swing() const { return amplitude * (1 - unit(end_s())); }
    [[nodiscard]] double time_of(double part) const { // fallen by this part of the swing
        const double wanted = 1 - part * (1 - unit(end_s()));
        double above = 0;
        double below = end_s();
        for (int i = 0; i < 60; ++i) {
            const double middle = (above + below) / 2;
            (unit(middle) > wanted ? above : below) = middle;
        }
        return above;
    }
};

Settling random_settling(std::mt19937& random) {
    std::uniform_real_distribution<double> uniform(0, 1);
    Settling s;
    s.fast_s = (250 + 300 * uniform(random)) * 1e-6;
    s.aim = 2 + 3 * uniform(random);
    s.level = -0.7 + 0.6 * uniform(random);
    s.tau_s = (60 + 140 * uniform(random)) * 1e-6;
    s.amplitude = 0.25 + 0.2 * uniform(random);
    return s;
}

Marks fields(std::size_t count) {
    return {synthetic::times(0, kField, count), kField, true};
}

} // namespace

TEST_CASE("a retrace that settles slowly ends where the current turns, not where it slows") {
    std::mt19937 random(4);
    const Settling wave;
    // Eight samples in a line's time, no noise: what is left is the curve's own error.
    const auto samples = synthetic::sample(
        wave, synthetic::times(3e-6, kLine / 8 * 1.0003, 2100 * 24), 0, 0, random);
    const Fold folded = fold(samples, fields(25));
    const Retrace r = measure_settling_retrace(folded, find_segments(folded));
    INFO(r.problem);
    REQUIRE(r.ok);
    // A tenth of a place of the period (16 us): the parts of the curve meet within that.
    CHECK(r.width_10_90_s.value ==
          Approx(wave.time_of(0.9) - wave.time_of(0.1)).margin(0.1 * kField / kCellsPerPeriod));
    // The turn is flat: the swing there is sure to 0.1 %, its place to 1.5 places of the period,
    // as 0.1 % of the swing is not gained in less: sqrt(2 * 0.001 * 1.9 * tau^2 / 0.02) = 65 us.
    CHECK(r.swing.value == Approx(wave.swing()).epsilon(1e-3));
    CHECK(r.full_s.value == Approx(wave.end_s()).margin(25e-6));
}

TEST_CASE("2 u covers retrace, swing and ends of trace where the retrace settles slowly",
          "[long]") {
    synthetic::Coverage width, full, swing, begin, end;
    for (unsigned seed = 1; seed <= 120; ++seed) {
        std::mt19937 random(seed);
        std::uniform_real_distribution<double> uniform(0, 1);
        const Settling wave = random_settling(random);
        // A sample every second line, the place in the line stepping: the bench's vertical capture.
        std::vector<double> t;
        const double start = kLine * uniform(random);
        for (std::size_t i = 0; i < 262 * 36; ++i) {
            t.push_back(start + kLine * (2 * static_cast<double>(i)) +
                        kLine / 16 * static_cast<double>(i % 8));
        }
        const double noise = (1 + 3 * uniform(random)) * 1e-3;
        const auto samples = synthetic::sample(wave, t, noise, 3.9e-3, random);
        const Fold folded = fold(samples, fields(80));
        const Retrace r = measure_settling_retrace(folded, find_segments(folded));
        INFO("seed " << seed << " " << r.problem);
        REQUIRE(r.ok);
        width.add(r.width_10_90_s.value, r.width_10_90_s.u, wave.time_of(0.9) - wave.time_of(0.1));
        full.add(r.full_s.value, r.full_s.u, wave.end_s());
        swing.add(r.swing.value, r.swing.u, wave.swing());
        const double turn = kField * std::round(r.begin_s.value / kField);
        begin.add(r.begin_s.value - turn, r.begin_s.u, 0);
        end.add(r.end_s.value - turn, r.end_s.u, wave.end_s());
    }
    const std::pair<const char*, const synthetic::Coverage*> list[] = {
        {"10-90", &width}, {"full", &full}, {"swing", &swing}, {"begin", &begin}, {"end", &end}};
    for (const auto& [name, coverage] : list) {
        INFO(name << ": share " << coverage->share() << ", rms error " << coverage->rms_error()
                  << ", rms u " << coverage->rms_u() << ", mean error " << coverage->mean_error());
        // 120 draws of 95.4 %: 3 standard deviations are 5.7 %.
        CHECK(coverage->share() >= 0.90);
        CHECK(coverage->share() <= 0.995);
    }
}
