// SPDX-License-Identifier: MIT
// Issue: "An imported CSV with 20 us (vertical) or 1 us (horizontal) steps and 10-bit noise, at
// least 6 fields or 20 lines, gives the same figures as direct analysis." Here on simulated boards:
// files of an oscilloscope on a board against the truth of its waveforms, and against what the
// bench measured of the same board through firmware and wire.
//
// Tolerance: 4 standard uncertainties of the difference. Some 300 figures are compared: at 3, a
// right analysis would fail nearly every time, at 4 once in 50 runs of new seeds. The seeds are
// fixed. Gain and zero of the oscilloscope are exact here, so what the file's figures state for
// them (u_scale) is left out; the bench has errors of its own, drawn from its stated tolerances, so
// its figures count with all they state. The two share no noise, no clock and no scale: nothing is
// correlated but the board.
#include "demo/virtual_bench/board/board_file.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/truth.hpp"
#include "host/record/import.hpp"
#include "tests/system/board_scope.hpp"
#include "tests/system/measured_board.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <cmath>
#include <cstdlib>
#include <fmt/core.h>

using namespace yokedock;
using analysis::Figure;
using analysis::FigureSet;
using analysis::FigureStatus;

namespace {

constexpr double kBound = 4;
constexpr double kBeginS = 2; // a board that has settled
constexpr double kFieldStepS = 20e-6;
constexpr double kLineStepS = 1e-6;
constexpr double kDenseStepS = 0.02e-6;
constexpr double kFields = 8.3;
constexpr double kLines = 24.4;

/// u without gain and zero, which are exact in these files.
double own_u(const Figure& f) {
    return std::sqrt(std::max(0.0, f.u * f.u - f.u_scale * f.u_scale));
}

struct Rates {
    double line_hz;
    double field_hz;
};

FigureSet imported(const std::string& csv, const Rates& rates) {
    const TempFolder folder;
    record::ImportOptions options;
    options.line_rate_hz = rates.line_hz;
    options.field_rate_hz = rates.field_hz;
    options.interlaced = true;
    const auto import = record::import_csv({folder.write("scope.csv", csv)}, options);
    if (!import) {
        FAIL(import.error().text);
    }
    return analysis::analyse(import.value().observation).figures;
}

const Figure& measured_figure(const FigureSet& set, const std::string& name) {
    const Figure* figure = analysis::find_figure(set, name);
    REQUIRE(figure != nullptr);
    INFO(name << ": " << figure->reason);
    CHECK(figure->status == FigureStatus::kMeasured);
    return *figure;
}

struct Judge {
    std::uint32_t board;
    const FigureSet& file;

    void off(const std::string& name, const char* against, double value, double expected,
             double u) const {
        const double bound = kBound * u;
        if (std::getenv("YOKEDOCK_TRUTH_VERBOSE") != nullptr) {
            fmt::print("board {:3} {:28} {:12.7g} {} {:12.7g} u {:9.3g} off {:6.2f} u\n", board,
                       name, value, against, expected, u, (value - expected) / u);
        }
        INFO("board " << board << " " << name << " " << value << ", " << against << " " << expected
                      << ", u of the difference " << u << ": " << (value - expected) / u << " u");
        CHECK(std::abs(value - expected) <= bound);
    }

    /// most_u: what the steps and codes of the file allow; a figure of more doubt says too little.
    void truth(const std::string& name, double expected, double most_u) const {
        const Figure& figure = measured_figure(file, name);
        off(name, "truth", figure.value, expected, own_u(figure));
        INFO("board " << board << " " << name << " u " << own_u(figure));
        CHECK(own_u(figure) <= most_u);
    }

    void bench(const FigureSet& bench, const std::string& name,
               const std::string& bench_name) const {
        const Figure& figure = measured_figure(file, name);
        const Figure& other = measured_figure(bench, bench_name);
        off(name, "bench", figure.value, other.value,
            std::hypot(own_u(figure), analysis::total_u(other)));
    }
};

struct Case {
    std::uint32_t number;
    sim::BoardParameters parameters;
    const wire::SyncSettings* settings;
    Rates rates;
    sim::BoardTruth truth;
};

Case make_case(const char* file_name, const char* standard, std::uint32_t number) {
    const auto file = sim::load_board(std::string(YOKEDOCK_BOARDS) + "/" + file_name);
    REQUIRE(file.ok());
    Case c{number,
           sim::scatter(file.value().parameters, number),
           sim::find_standard(standard),
           {},
           {}};
    c.parameters.bench_seed = number;
    c.parameters.bench_noise_seed = number + 1000;
    c.parameters.bench_errors = 1;
    const sim::IdealSync ideal(sync::make_plan(*c.settings, 16000000).achieved, 16e6);
    c.rates = {ideal.line_rate_hz(), ideal.field_rate_hz()};
    sim::TruthOptions options;
    options.settle_s = kBeginS;
    c.truth = sim::measure_truth(c.parameters, *c.settings, options);
    return c;
}

/// Two 20 us (1 us) steps at the ends of the retrace, no more than a tenth of a step each after
/// averaging 8 fields (24 lines), and currents by the slope there: what a fit can make of it.
void judge_ramp(const Judge& judge, const std::string& axis, const sim::RampTruth& truth,
                double step_s) {
    const double step_us = 1e6 * step_s;
    const double pp = truth.peak_to_peak;
    judge.truth(axis + "_yoke_swing_a", pp, 0.02 * pp);
    judge.truth(axis + "_yoke_centring_a", truth.centring, 0.01 * pp);
    judge.truth(axis + "_retrace_us", 1e6 * truth.retrace_10_90_s, 0.5 * step_us);
    // The vertical current turns slowly: the trace's slope is s = 0.8 A / 16 ms = 50 A/s, and what
    // is left of the retrace dies away with tau = 150 us, so that it stays within one code (0.8 A
    // over four fifths of 1024: 1 mA) of its turn for sqrt(2 x 1 mA x tau / s) = 77 us to either
    // side. Of so much the place may be in doubt; the fit's curve, averaged over 8 fields, mostly
    // does better.
    judge.truth(axis + "_retrace_full_us", 1e6 * truth.retrace_extremes_s,
                axis == "v" ? 77 : 2 * step_us);
    judge.truth(axis + "_yoke_linearity_lsq_pct", truth.linearity_lsq_pct, 0.1);
    judge.truth(axis + "_yoke_linearity_end_pct", truth.linearity_end_pct, 0.1);
    judge.truth(axis + "_yoke_spacing_pct", truth.spacing_pct, 0.5);
    judge.truth(axis + "_yoke_spacing_mean_pct", truth.spacing_mean_pct, 1);
}

void compare_ramp(const Judge& judge, const FigureSet& bench, const std::string& axis) {
    for (const char* name :
         {"_yoke_swing_a", "_yoke_pp_a", "_yoke_centring_a", "_yoke_bow_pct", "_yoke_s_pct",
          "_yoke_linearity_lsq_pct", "_yoke_linearity_end_pct", "_yoke_spacing_pct",
          "_yoke_spacing_mean_pct", "_retrace_us", "_retrace_full_us"}) {
        judge.bench(bench, axis + name, axis + name);
    }
}

test::BoardWaves vertical_waves(const Case& c) {
    return test::sample_board(c.parameters, *c.settings,
                              {"v_yoke_a", "v_out_v", "supply_v", "supply_a"}, kBeginS, kFieldStepS,
                              kFields / c.rates.field_hz);
}

test::BoardWaves horizontal_waves(const Case& c, const std::vector<std::string>& names,
                                  double step_s) {
    // Not a whole number of steps after a tick of the sync: an oscilloscope has a clock of its own.
    return test::sample_board(c.parameters, *c.settings, names, kBeginS + 3.10037e-3, step_s,
                              kLines / c.rates.line_hz);
}

const std::vector<std::string> kLineChannels{"h_yoke_a", "h_out_v", "supply_v", "sync_v"};

template <class Run> void for_boards(const Run& run) {
    for (const std::uint32_t number : {1u, 2u, 3u}) {
        run(make_case("quillwood13.json", "525/59.94", number));
    }
    for (const std::uint32_t number : {101u, 102u, 103u}) {
        run(make_case("quillwood13_50hz.json", "625/50", number));
    }
}

} // namespace

TEST_CASE("the vertical ramp in a 20 us file of a board holds the truth") {
    for_boards([](const Case& c) {
        const auto set = imported(test::scope_csv(vertical_waves(c), c.number), c.rates);
        judge_ramp({c.number, set}, "v", c.truth.vertical, kFieldStepS);
    });
}

TEST_CASE("rate, output node, rail and supply current in a 20 us file of a board hold the truth") {
    for_boards([](const Case& c) {
        const test::BoardWaves waves = vertical_waves(c);
        const auto set = imported(test::scope_csv(waves, c.number), c.rates);
        const Judge judge{c.number, set};
        const auto codes = [&](const char* name, double n) {
            const auto& v = waves.of(name);
            const auto [low, high] = std::minmax_element(v.begin(), v.end());
            return n * (*high - *low) / 0.8 / 1024;
        };
        // 9 edges that jump within a 20 us step: white, their slope is known to 20 us / sqrt(12)
        // sqrt(12 / 9^3) = 0.74 us of a period or 0.0027 Hz at 60 Hz. Where a field is a whole
        // number of steps their errors hang together: up to 20 us / (pi sqrt 2) 0.22 9^2 / 60 = 1.3
        // us more, 0.0047 Hz.
        judge.truth("v_rate_hz", c.truth.field.rate_hz, 0.0055);
        judge.truth("v_out_max_v", c.truth.v_out_max_v, codes("v_out_v", 1));
        judge.truth("v_out_min_v", c.truth.v_out_min_v, codes("v_out_v", 1));
        // A ratio of a peak to a mean: a code of 0.06 V over the rail.
        judge.truth("v_out_peak_ratio", c.truth.v_out_max_v / c.truth.supply_v, 0.003);
        // Mains and field come off the mean. What else moves (the saw of the field's current) is
        // white at best: a third of p-p over sqrt(7000 / 2) samples, twice that allowed.
        judge.truth("supply_v", c.truth.supply_v, 0.01 * c.truth.supply_ripple_v);
        judge.truth("supply_a", c.truth.supply_a, codes("supply_a", 8));
        const double mains_hz = c.parameters.supply_mains_hz;
        judge.truth("supply_ripple_v",
                    test::sine_pp(waves.time_s, waves.of("supply_v"), 2 * mains_hz),
                    0.01 * c.truth.supply_ripple_v);
        CHECK(measured_figure(set, "mains_hz").value == mains_hz);
    });
}

TEST_CASE("the horizontal ramp in a 1 us file of a board holds the truth") {
    for_boards([](const Case& c) {
        const auto waves = horizontal_waves(c, kLineChannels, kLineStepS);
        const auto set = imported(test::scope_csv(waves, c.number + 50), c.rates);
        judge_ramp({c.number, set}, "h", c.truth.horizontal, kLineStepS);
    });
}

TEST_CASE("line output node, rail and sync in a 1 us file of a board hold the truth") {
    for_boards([](const Case& c) {
        const auto waves = horizontal_waves(c, kLineChannels, kLineStepS);
        const auto set = imported(test::scope_csv(waves, c.number + 50), c.rates);
        const Judge judge{c.number, set};
        const auto dense = horizontal_waves(c, {"h_out_v"}, kDenseStepS);
        const test::PulseTruth pulse =
            test::judge_pulses(dense.time_s, dense.of("h_out_v"), 1 / c.rates.line_hz);
        // Edges in steps of 1 us, 24 of them: period to 1 us / sqrt(12) sqrt(12 / 24^3) = 8.5 ns,
        // 2.1 Hz, and half more where they creep through the steps. h_out_v rises through a quarter
        // of its height in a step.
        judge.truth("h_sync_rate_hz", c.rates.line_hz, 3.5);
        judge.truth("h_rate_hz", c.truth.line.rate_hz, 2);
        CHECK(measured_figure(set, "h_locked").value == 1);
        // Sync edges of 625/50 fall at one place in a 1 us step every time: 0.29 us, whatever their
        // number.
        judge.truth(
            "h_phase_us",
            1e6 * test::mean_phase_s(pulse.rise_50_s, dense.line_start_s, 1 / c.rates.line_hz),
            0.32);
        // The board's jitter is a hundredth of the steps: it may read 0, and must not read more
        // than its doubt.
        judge.truth("h_jitter_rms_us", 1e6 * c.truth.line.jitter_s, 0.15);
        // A code is 0.25 V. Half a sine, 12 us long, between steps of 1 us.
        judge.truth("h_out_peak_v", pulse.peak, 0.5);
        judge.truth("h_out_min_v", pulse.lowest, 0.5);
        judge.truth("h_out_width_50_us", 1e6 * pulse.width_50_s, 0.15);
        judge.truth("h_out_width_10_us", 1e6 * pulse.width_10_s, 0.15);
        // A code is a 1024th of the little that the rail does in 1.6 ms.
        judge.truth("supply_v", test::mean(waves.of("supply_v")), 0.001);
        CHECK(analysis::find_figure(set, "supply_ripple_v")->status ==
              FigureStatus::kNotMeasured); // a tenth of a turn of the mains
    });
}

TEST_CASE("files of a board and the bench's own measurement of it agree") {
    for_boards([](const Case& c) {
        const test::MeasuredBoard bench = test::measure_board(c.parameters, *c.settings);
        const FigureSet& figures = bench.result.figures;
        const auto v = imported(test::scope_csv(vertical_waves(c), c.number), c.rates);
        const Judge vertical{c.number, v};
        for (const char* name : {"v_rate_hz", "v_out_max_v", "v_out_min_v", "v_out_peak_ratio",
                                 "supply_v", "supply_a"}) {
            vertical.bench(figures, name, name);
        }
        compare_ramp(vertical, figures, "v");
        const auto waves = horizontal_waves(c, kLineChannels, kLineStepS);
        const auto h = imported(test::scope_csv(waves, c.number + 50), c.rates);
        const Judge horizontal{c.number, h};
        horizontal.bench(figures, "h_rate_hz", "h_rate_hz");
        horizontal.bench(figures, "h_out_peak_v", "h_peak_v");
        compare_ramp(horizontal, figures, "h");
    });
}
