// SPDX-License-Identifier: MIT
// An oscilloscope file of a board must give the figures that the waveform itself has: CSV text of
// coarse, noisy 10-bit samples against a direct analysis of the same waveform, finely sampled and
// without noise.
#include "host/analysis/analyse.hpp"
#include "host/record/import.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/format.h>
#include <functional>
#include <random>

using namespace yokedock;
using analysis::Figure;
using analysis::FigureSet;
using analysis::FigureStatus;

namespace {

using Wave = std::function<double(double)>;

/// A trace with bow and S, and a half-cosine retrace at the end of each period.
Wave ramp(double period_s, double retrace_s, double half_a, double bow, double s) {
    const auto trace = [=](double x) {
        return half_a * (x + bow * (x * x - 1) + s * (x * x * x - x));
    };
    return [=](double t) {
        const double phase = t - period_s * std::floor(t / period_s);
        const double trace_s = period_s - retrace_s;
        return phase < trace_s ? trace(2 * phase / trace_s - 1)
                               : half_a * std::cos(M_PI * (phase - trace_s) / retrace_s);
    };
}

capture::Observation direct(const std::string& channel, const Wave& wave, double step_s,
                            double length_s) {
    capture::Observation o;
    capture::Samples& samples = o.channels[channel];
    for (double t = 0; t < length_s; t += step_s) {
        samples.time_s.push_back(t);
        samples.value.push_back(wave(t));
    }
    o.imported = true;
    return o;
}

/// What an oscilloscope of 10 bits over +-range with half a code of noise writes.
std::string csv(const std::string& channel, const Wave& wave, double step_s, double length_s,
                double range) {
    std::mt19937 random(11);
    std::normal_distribution<double> noise(0, 0.5);
    const double code = 2 * range / 1024;
    std::string text = "time_s," + channel + "\r\n";
    for (double t = 0.3 * step_s; t < length_s; t += step_s) {
        text +=
            fmt::format("{:.8f},{:.6f}\r\n", t, code * std::round(wave(t) / code + noise(random)));
    }
    return text;
}

FigureSet imported(const std::string& text, double line_rate_hz, double field_rate_hz) {
    const TempFolder folder;
    record::ImportOptions options;
    options.line_rate_hz = line_rate_hz;
    options.field_rate_hz = field_rate_hz;
    const auto import = record::import_csv({folder.write("scope.csv", text)}, options);
    if (!import) {
        FAIL(import.error().text);
    }
    return analysis::analyse(import.value().observation).figures;
}

/// u without what a gain or zero common to the whole file adds: both signals have none of it here.
double own_u(const Figure& f) {
    return std::sqrt(std::max(0.0, f.u * f.u - f.u_scale * f.u_scale));
}

/// The two agree within 4 of their own standard uncertainties (6 figures and two stages are looked
/// at: 3 would fail one run in thirty), and the uncertainty is small enough for that to mean
/// something.
void check_same(const FigureSet& direct_set, const FigureSet& imported_set, const std::string& name,
                double largest_u) {
    const Figure* a = analysis::find_figure(direct_set, name);
    const Figure* b = analysis::find_figure(imported_set, name);
    REQUIRE(a != nullptr);
    REQUIRE(b != nullptr);
    INFO(name << ": direct " << a->value << " +- " << own_u(*a) << " " << a->reason << ", imported "
              << b->value << " +- " << own_u(*b) << " " << b->reason);
    REQUIRE(a->status == FigureStatus::kMeasured);
    REQUIRE(b->status == FigureStatus::kMeasured);
    CHECK(std::abs(a->value - b->value) <= 4 * std::hypot(own_u(*a), own_u(*b)));
    CHECK(own_u(*b) <= largest_u);
}

} // namespace

TEST_CASE("a vertical file of 20 us steps and 6 fields gives the figures of the waveform itself") {
    const double period_s = 1 / 59.94006;
    const Wave wave = ramp(period_s, 700e-6, 0.4, 0.03, -0.05);
    const FigureSet a = analysis::analyse(direct("v_yoke_a", wave, 2e-6, 6.3 * period_s)).figures;
    const FigureSet b = imported(csv("v_yoke_a", wave, 20e-6, 6.3 * period_s, 1.0), 0, 59.94);
    // One code is 2 mA and noise half of that: 1.2 mA rms with quantisation, 4500 samples.
    check_same(a, b, "v_rate_hz", 0.01);    // a few us of 100 ms
    check_same(a, b, "v_yoke_pp_a", 0.001); // a fit of 4500 samples: well below one code
    check_same(a, b, "v_yoke_centring_a", 0.0005);
    check_same(a, b, "v_yoke_bow_pct", 0.1);
    check_same(a, b, "v_yoke_linearity_lsq_pct", 0.2);
    check_same(a, b, "v_retrace_us", 8); // under half a sample step
    // The waveform's own truth: bow 0.03 x^2 is 0.02 P2 of half p-p. In the window of 0.9 of the
    // trace p-p shrinks to 0.9 (S lessens it a little) and x^2 to 0.81: P2 / pp = 0.03 * 2/3 * 0.81
    // * 0.4 / pp.
    const Figure* pp = analysis::find_figure(a, "v_yoke_pp_a");
    CHECK(analysis::find_figure(a, "v_yoke_bow_pct")->value ==
          Approx(100 * 0.03 * (2.0 / 3) * 0.81 * 0.4 / pp->value).epsilon(0.03));
}

TEST_CASE("a horizontal file of 1 us steps and 20 lines gives the figures of the waveform itself") {
    const double period_s = 1 / 15734.2657;
    const Wave wave = ramp(period_s, 11.9e-6, 1.2, 0.02, -0.08);
    const FigureSet a =
        analysis::analyse(direct("h_yoke_a", wave, 0.1e-6, 20.3 * period_s)).figures;
    const FigureSet b = imported(csv("h_yoke_a", wave, 1e-6, 20.3 * period_s, 3.0), 15734.2657, 0);
    // One code is 5.9 mA; 3.4 mA rms with noise and quantisation, 1290 samples: under 1 mA. The
    // window hangs on the retrace's extremes, which 1 us steps place to about a tenth of a step,
    // and the ramp's slope is 46 mA/us: 4.6 mA for each end.
    check_same(a, b, "h_rate_hz", 2);              // some 30 ns over 1.3 ms
    check_same(a, b, "h_yoke_pp_a", 0.0065);       // both ends: sqrt(2) * 4.6 mA
    check_same(a, b, "h_yoke_centring_a", 0.0033); // their mean: 4.6 mA / sqrt(2)
    check_same(a, b, "h_yoke_bow_pct", 0.15);
    check_same(a, b, "h_yoke_linearity_lsq_pct", 0.3);
    check_same(a, b, "h_retrace_us", 0.3);
}

TEST_CASE("a line output node seen by an oscilloscope gives retrace width and peak") {
    const double period_s = 1 / 15734.2657;
    const double base_s = 11.9e-6;
    const Wave pulse = [=](double t) {
        const double phase = t - period_s * std::floor(t / period_s);
        return phase < base_s ? 100 * std::sin(M_PI * phase / base_s) : 0.0;
    };
    const FigureSet set =
        imported(csv("h_out_v", pulse, 1e-6, 25.3 * period_s, 150), 15734.2657, 0);
    const Figure* peak = analysis::find_figure(set, "h_out_peak_v");
    const Figure* width = analysis::find_figure(set, "h_out_width_50_us");
    const Figure* rate = analysis::find_figure(set, "h_rate_hz");
    REQUIRE(peak->status == FigureStatus::kMeasured);
    REQUIRE(width->status == FigureStatus::kMeasured);
    REQUIRE(rate->status == FigureStatus::kMeasured);
    // A code is 0.29 V. A half sine is above half for two thirds of its base: 7.933 us.
    CHECK(std::abs(peak->value - 100) < 4 * own_u(*peak) + 0.5);
    CHECK(std::abs(width->value - 7.933) < 4 * own_u(*width) + 0.05);
    // Edges are placed to some 50 ns each; 25 of them over 1.6 ms: 1e-5 of the rate or so.
    CHECK(rate->value == Approx(15734.2657).epsilon(1e-4));
    // Supply current or rail ripple are no part of this file and must not be invented.
    CHECK(analysis::find_figure(set, "supply_v")->status == FigureStatus::kNotMeasured);
}
