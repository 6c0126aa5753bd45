// SPDX-License-Identifier: MIT
// Truth: seeded random boards, healthy and bent, measured through firmware and wire on benches with
// random errors of their own, against the board model's noiseless waveforms (read by code that
// shares nothing with the analysis).
//
// Coverage: the stated uncertainties are standard ones (k = 1), so about 95 % of true values lie
// within +-2 u; between 90 and 99 % is asked for. Gain, zero and clock errors are drawn per bench
// from the same tolerances that the host assumes before calibration (shared/channels.hpp), once for
// every board: figures of one board share them, boards do not.
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/truth.hpp"
#include "tests/system/measured_board.hpp"
#include <cmath>
#include <cstdlib>
#include <fmt/core.h>
#include <map>
#include <random>

using namespace yokedock;

namespace {

/// One way to bend a board: a component value times something between low and high.
struct Bend {
    const char* path;
    double low;
    double high;
};

constexpr Bend kBends[] = {
    {"ramp.height_ohm", 0.85, 1.25},
    {"ramp.linearity_ohm", 0.6, 2.0},
    {"vertical_output.coupling_f", 0.5, 0.8},
    {"vertical_yoke.inductance_h", 0.8, 1.25},
    {"vertical_oscillator.hold_ohm", 0.3, 0.6},
    {"line_output.retrace_f", 0.75, 0.95},
    {"line_output.s_f", 0.6, 0.9},
    {"line_oscillator.hold_ohm", 0.5, 0.7},
    {"supply.mains_v", 0.93, 1.1},
    {"supply.reservoir_f", 0.3, 0.8},
};

/// Even numbers: as built from parts of their tolerance; odd ones have one part bent as well.
sim::BoardParameters random_board(const sim::BoardParameters& design, std::uint32_t number) {
    sim::BoardParameters board = sim::scatter(design, number);
    std::mt19937 random(number);
    if (number % 2 == 1) {
        const Bend& bend = kBends[random() % std::size(kBends)];
        const double factor =
            bend.low + (bend.high - bend.low) * static_cast<double>(random() % 1001) / 1000.0;
        const double value = board.*(sim::find_parameter(bend.path)->member) * factor;
        REQUIRE(sim::set_parameter(board, bend.path, value).ok());
        INFO(bend.path << " times " << factor);
    }
    board.bench_seed = number;
    board.bench_noise_seed = number + 1000;
    board.bench_errors = 1;
    return board;
}

struct Tally {
    int inside = 0;
    int total = 0;
    int not_measured = 0;
    double worst = 0;
    std::uint32_t worst_board = 0;
};

using TruthTable = std::map<std::string, double>;

/// Figure names and their true values.
TruthTable true_values(const sim::BoardTruth& t) {
    TruthTable table{{"v_rate_hz", t.field.rate_hz}, {"h_rate_hz", t.line.rate_hz},
                     {"supply_v", t.supply_v},       {"supply_a", t.supply_a},
                     {"v_out_max_v", t.v_out_max_v}, {"v_out_min_v", t.v_out_min_v},
                     {"h_peak_v", t.h_peak_v}};
    const auto ramp = [&](const std::string& axis, const sim::RampTruth& r) {
        table[axis + "_yoke_swing_a"] = r.peak_to_peak;
        table[axis + "_yoke_centring_a"] = r.centring;
        table[axis + "_retrace_us"] = 1e6 * r.retrace_10_90_s;
        table[axis + "_retrace_full_us"] = 1e6 * r.retrace_extremes_s;
        table[axis + "_yoke_linearity_lsq_pct"] = r.linearity_lsq_pct;
        table[axis + "_yoke_linearity_end_pct"] = r.linearity_end_pct;
        table[axis + "_yoke_spacing_pct"] = r.spacing_pct;
        table[axis + "_yoke_spacing_mean_pct"] = r.spacing_mean_pct;
    };
    ramp("v", t.vertical);
    ramp("h", t.horizontal);
    return table;
}

void count(const std::string& name, double truth, const analysis::FigureSet& figures,
           std::uint32_t number, std::map<std::string, Tally>& tallies) {
    const analysis::Figure* figure = analysis::find_figure(figures, name);
    REQUIRE(figure != nullptr);
    Tally& tally = tallies[name];
    if (figure->status != analysis::FigureStatus::kMeasured || std::isnan(truth)) {
        ++tally.not_measured;
        fmt::print("board {}: {} not measured: {} (truth {:.6g})\n", number, name, figure->reason,
                   truth);
        return;
    }
    const double u = analysis::total_u(*figure);
    const double off = (figure->value - truth) / u;
    ++tally.total;
    tally.inside += std::fabs(off) <= 2.0 ? 1 : 0;
    if (std::fabs(off) > std::fabs(tally.worst)) {
        tally.worst = off;
        tally.worst_board = number;
    }
    if (std::getenv("YOKEDOCK_TRUTH_VERBOSE") != nullptr || std::fabs(off) > 4) {
        fmt::print("board {:3} {:28} {:12.7g} truth {:12.7g} u {:9.3g} off {:6.2f} u\n", number,
                   name, figure->value, truth, u, off);
    }
}

void measure_against_truth(const sim::BoardParameters& board, const char* standard,
                           std::uint32_t number, std::map<std::string, Tally>& tallies) {
    const wire::SyncSettings& settings = *sim::find_standard(standard);
    const test::MeasuredBoard measured = test::measure_board(board, settings);
    sim::TruthOptions options;
    options.settle_s = 2.0; // about the middle of what the measurement took: drift then cancels
    options.watch_s = 1.5;
    const sim::BoardTruth truth = sim::measure_truth(board, settings, options);
    TruthTable table = true_values(truth);
    // A locked board follows this bench's sync, which its crystal makes, not the ideal sync of the
    // truth run.
    const double crystal = 1 / (1 + sim::FrontEnd(board).clock_error());
    table["v_rate_hz"] *= truth.field.locked ? crystal : 1;
    table["h_rate_hz"] *= truth.line.locked ? crystal : 1;
    for (const auto& [name, value] : table) {
        count(name, value, measured.result.figures, number, tallies);
    }
    for (const auto& [name, locked] :
         {std::pair{"v_locked", truth.field.locked}, std::pair{"h_locked", truth.line.locked}}) {
        const analysis::Figure* figure = analysis::find_figure(measured.result.figures, name);
        REQUIRE(figure != nullptr);
        INFO("board " << number << " " << name << " " << figure->method << " " << figure->reason);
        CHECK((figure->status == analysis::FigureStatus::kMeasured && figure->value == locked));
    }
}

void report_and_check(const std::map<std::string, Tally>& tallies) {
    Tally all;
    for (const auto& [name, tally] : tallies) {
        fmt::print("{:28} {:3} of {:3} within 2 u, worst {:6.2f} u (board {}), not measured {}\n",
                   name, tally.inside, tally.total, tally.worst, tally.worst_board,
                   tally.not_measured);
        all.inside += tally.inside;
        all.total += tally.total;
        all.not_measured += tally.not_measured;
    }
    const double coverage = 100.0 * all.inside / all.total;
    fmt::print("coverage: {} of {} true values within +-2 u: {:.1f} %; not measured {}\n",
               all.inside, all.total, coverage, all.not_measured);
    CHECK(coverage >= 90.0);
    CHECK(coverage <= 99.0);
    CHECK(all.not_measured * 50 <= all.total);
}

void run_boards(const char* file_name, const char* standard, std::uint32_t first,
                std::uint32_t last) {
    const auto file = sim::load_board(std::string(YOKEDOCK_BOARDS) + "/" + file_name);
    REQUIRE(file.ok());
    std::map<std::string, Tally> tallies;
    for (std::uint32_t number = first; number <= last; ++number) {
        measure_against_truth(random_board(file.value().parameters, number), standard, number,
                              tallies);
    }
    report_and_check(tallies);
}

} // namespace

TEST_CASE("figures of random 60 Hz boards hold the truth") {
    run_boards("quillwood13.json", "525/59.94", 1, 30);
}

TEST_CASE("figures of random 50 Hz boards hold the truth") {
    run_boards("quillwood13_50hz.json", "625/50", 101, 120);
}
