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

struct Expected {
    const char* name;
    double truth;  ///< of the waveform, by its formula
    double most_u; ///< what steps, codes and noise of the file allow
};

/// Direct figure, imported figure and truth agree within 4 of their own standard uncertainties (36
/// differences are looked at: 3 would fail one run in ten), and the imported figure's uncertainty
/// is small enough for that to mean something. Direct and imported samples share the waveform and
/// no noise: what they state is not correlated.
void check_same(const FigureSet& direct_set, const FigureSet& imported_set, const Expected& e) {
    const Figure* a = analysis::find_figure(direct_set, e.name);
    const Figure* b = analysis::find_figure(imported_set, e.name);
    REQUIRE(a != nullptr);
    REQUIRE(b != nullptr);
    INFO(e.name << ": truth " << e.truth << ", direct " << a->value << " +- " << own_u(*a) << " "
                << a->reason << ", imported " << b->value << " +- " << own_u(*b) << " "
                << b->reason);
    REQUIRE(a->status == FigureStatus::kMeasured);
    REQUIRE(b->status == FigureStatus::kMeasured);
    CHECK(std::abs(a->value - b->value) <= 4 * std::hypot(own_u(*a), own_u(*b)));
    CHECK(std::abs(b->value - e.truth) <= 4 * own_u(*b));
    CHECK(std::abs(a->value - e.truth) <= 4 * own_u(*a));
    CHECK(own_u(*b) <= e.most_u);
}

struct RampTruth {
    double pp, centring, bow_pct, linearity_lsq_pct, retrace_10_90_s;
};

/// Of ramp() in the window of 0.9 of the trace, x from -0.9 to 0.9: S takes s (0.9 - 0.9^3) off
/// each end; the mean of x^2 is 0.27; x^2 is 2/3 P2 and 0.81 of that in the window; the straight
/// line through x^3 is 3/5 0.81 x. The largest distance from the line is at the early end when bow
/// > 0 and s < 0. A half cosine is between 0.8 and -0.8 for all but acos(0.8) / pi at either end.
RampTruth truth_of(double retrace_s, double half_a, double bow, double s) {
    const double pp = 2 * half_a * (0.9 + s * (0.729 - 0.9));
    const double off = half_a * (bow * (0.81 - 0.27) - s * 0.9 * (0.81 - 0.6 * 0.81));
    return {pp, half_a * bow * (0.27 - 1), 100 * half_a * bow * 2 / 3 * 0.81 / pp, 100 * off / pp,
            retrace_s * (1 - 2 * std::acos(0.8) / M_PI)};
}

} // namespace

TEST_CASE("a vertical file of 20 us steps and 6 fields gives the figures of the waveform itself") {
    const double period_s = 1 / 59.94006;
    const Wave wave = ramp(period_s, 700e-6, 0.4, 0.03, -0.05);
    const RampTruth truth = truth_of(700e-6, 0.4, 0.03, -0.05);
    const FigureSet a = analysis::analyse(direct("v_yoke_a", wave, 2e-6, 6.3 * period_s)).figures;
    const FigureSet b = imported(csv("v_yoke_a", wave, 20e-6, 6.3 * period_s, 1.0), 0, 59.94);
    // A code is 1.95 mA; noise of half a code and rounding: 0.577 codes or 1.13 mA rms. 6 x 719
    // samples lie in the window, 6 x 35 in the retrace.
    //
    // Window ends: where it ends, a polynomial fit of order 5 is known to (5 + 1) 1.13 mA /
    // sqrt(210) = 0.47 mA (the Legendre polynomials are all 1 there). Retrace begins and ends flat,
    // as 0.4 A (pi t / 700 us)^2 / 2, and takes 10.8 us to leave by that: so far its ends are in
    // doubt. The ramp's slope of 0.049 mA/us makes that 0.53 mA at each end.
    const Expected expected[] = {
        // Slope in the retrace's middle 1.8 mA/us: 0.63 us for each of 6 edges, sqrt(12 / (6 x 35))
        // of that for the period, 5.4e-4 Hz; the scatter of 6 edges is itself known to a third:
        // twice.
        {"v_rate_hz", 59.94006, 1.1e-3},
        // Both window ends, sqrt(2) x 0.53 mA; the order 4 fit's own ends add 5 x 1.13 mA /
        // sqrt(4300) x sqrt(2) = 0.12 mA.
        {"v_yoke_pp_a", truth.pp, 0.76e-3},
        {"v_yoke_centring_a", truth.centring, 0.37e-3}, // the mean of both: 0.53 mA / sqrt(2)
        // P2 of white noise: sqrt(5 / 4300) 1.13 mA of 727 mA is 0.005 %; the window's shift by 5
        // us
        // of 7200 turns P3 (8 mA) into 5 x P3 of P2: 0.004 %.
        {"v_yoke_bow_pct", truth.bow_pct, 0.01},
        // At an end: the fit's 5 x 1.13 mA / sqrt(4300) = 0.086 mA is 0.012 %, the window's as
        // much.
        {"v_yoke_linearity_lsq_pct", truth.linearity_lsq_pct, 0.02},
        // Noise: 0.47 mA in the extremes that set the levels, 0.2 mA at the levels, slope 1.08
        // mA/us: 0.6 us. The order of the fit is in doubt too: a tenth of a step.
        {"v_retrace_us", 1e6 * truth.retrace_10_90_s, 2},
    };
    for (const Expected& e : expected) {
        check_same(a, b, e);
    }
}

TEST_CASE("a horizontal file of 1 us steps and 20 lines gives the figures of the waveform itself") {
    const double period_s = 1 / 15734.2657;
    const Wave wave = ramp(period_s, 11.9e-6, 1.2, 0.02, -0.08);
    const RampTruth truth = truth_of(11.9e-6, 1.2, 0.02, -0.08);
    const FigureSet a =
        analysis::analyse(direct("h_yoke_a", wave, 0.1e-6, 20.3 * period_s)).figures;
    const FigureSet b = imported(csv("h_yoke_a", wave, 1e-6, 20.3 * period_s, 3.0), 15734.2657, 0);
    // A code is 5.9 mA, 0.577 codes are 3.4 mA rms. 20 x 46.5 samples in the window, 20 x 12 in the
    // retrace.
    //
    // Window ends as above would be 3.4 mA x 5 / sqrt(238) = 1.1 mA or 0.16 us for a retrace of
    // order 4; what the trace beside it tells of the corner halves the variance. A tenth of a step,
    // 0.1 us at a slope of 46 mA/us, is 4.6 mA at each end.
    const Expected expected[] = {
        // Slope 317 mA/us: 11 ns for each of 20 edges, and 4 ns for the sine's bend between
        // samples.
        // sqrt(12 / 20^3) of it for the period: 0.11 Hz; known to a sixth, 3 of that allowed.
        {"h_rate_hz", 15734.2657, 0.17},
        {"h_yoke_pp_a", truth.pp, 6.5e-3},             // sqrt(2) x 4.6 mA
        {"h_yoke_centring_a", truth.centring, 3.3e-3}, // 4.6 mA / sqrt(2)
        // Noise sqrt(5 / 930) 3.4 mA of 2.19 A is 0.011 %; the window's shift by 0.08 us of 23
        // turns
        // P3 (38 mA) into 5 x P3 of P2: 0.03 %.
        {"h_yoke_bow_pct", truth.bow_pct, 0.032},
        // An end of the fit: 5 x 3.4 mA / sqrt(930) = 0.56 mA is 0.025 %; the window's 1.5 x bow's.
        {"h_yoke_linearity_lsq_pct", truth.linearity_lsq_pct, 0.053},
        // Noise alone would be 6 ns. 12 places 1 us apart, moved by 9 offsets: the model decides; a
        // tenth of a step.
        {"h_retrace_us", 1e6 * truth.retrace_10_90_s, 0.1},
    };
    for (const Expected& e : expected) {
        check_same(a, b, e);
    }
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
    // A half sine is above half for two thirds of its base: 7.933 us.
    CHECK(std::abs(peak->value - 100) <= 4 * own_u(*peak));
    CHECK(std::abs(width->value - 7.933) <= 4 * own_u(*width));
    CHECK(std::abs(rate->value - 15734.2657) <= 4 * own_u(*rate));
    // A code is 0.29 V, 0.17 V rms with noise: some 50 samples make the top, 3 / sqrt(50) of it at
    // the vertex of a parabola.
    CHECK(own_u(*peak) <= 0.08);
    // Each edge rises by 23 V in a step of 1 us: a fifth of a step, 66 ns where nothing is known of
    // its bend; 25 of them: sqrt(12 / 25^3) for the period, 0.45 Hz, and three times that where
    // edges creep through their steps. As much doubt of the period lets lines lie 1.9 ns x 25 /
    // sqrt(12) beside each other: 14 ns, three times that, at either end of the width.
    CHECK(own_u(*rate) <= 1.8);
    CHECK(own_u(*width) <= 0.08);
    // Supply current or rail ripple are no part of this file and must not be invented.
    CHECK(analysis::find_figure(set, "supply_v")->status == FigureStatus::kNotMeasured);
}
