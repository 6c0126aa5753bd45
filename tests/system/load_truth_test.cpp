// SPDX-License-Identifier: MIT
// `check`'s load step through firmware and wire: seeded loads on benches whose drive, gain, zero,
// lag and clock are drawn from what the host assumes of a bench, then measured as `check` does.
//
// u is standard (k = 1): 95.4 % of true values within +-2 u would be right, 90 to 99 % is asked
// for. As built, gain and drive voltage make up most of u and would hide an error of the samples'
// places; so the same samples are measured once more with the bench's own gain, voltage and source
// resistance known ("calibrated"). The simulated converter is straight, so its linearity counts for
// nothing there: what is left is noise, quantiser, zero, lag and origin.
#include "demo/virtual_bench/board/board.hpp"
#include "host/analysis/load_verdict.hpp"
#include "host/capture/measurement.hpp"
#include "host/cli/check_load.hpp"
#include "tests/system/simulation_transport.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>
#include <fmt/core.h>
#include <random>

using namespace yokedock;
using analysis::LoadStep;
using analysis::StepDrive;
using analysis::StepSamples;

namespace {

// What `check` assumes of the drive of docs/bench.
constexpr StepDrive kAssumed{12, 0.25, 10.15, 0.15};
constexpr double kLagTolerance = 0.05;
// Left after calibration: a meter of 0.01 %.
constexpr double kKnownV = 0.001;
constexpr double kKnownOhm = 0.001;
constexpr double kKnownGain = 1e-4;

struct Load {
    double ohm;
    double henry;
    bool horizontal;
    double shorted_share = 0;
};

/// A bench with errors of its own, and what it measures.
struct Run {
    double true_gain = 1; ///< over the channel table's
    StepDrive true_drive;
    StepSamples samples;
};

sim::BoardParameters bench_with(const Load& load, std::uint32_t seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, 1);
    const auto board = sim::load_board(YOKEDOCK_BOARDS "/quillwood13.json");
    if (!board) {
        FAIL(board.error().text);
    }
    sim::BoardParameters p = board.value().parameters;
    p.bench_seed = seed;
    p.bench_noise_seed = seed + 1000;
    p.bench_errors = 1;
    p.bench_step_supply_v = kAssumed.volts + kAssumed.volts_u * normal(random);
    p.bench_step_ohm = kAssumed.source_ohm + kAssumed.source_ohm_u * normal(random) -
                       p.bench_step_switch_ohm - p.bench_load_path_ohm;
    double& lag = load.horizontal ? p.bench_h_yoke_lag_s : p.bench_v_yoke_lag_s;
    lag *= 1 + kLagTolerance * normal(random);
    (load.horizontal ? p.line_yoke_resistance_ohm : p.vertical_yoke_resistance_ohm) = load.ohm;
    (load.horizontal ? p.line_yoke_inductance_h : p.vertical_yoke_inductance_h) = load.henry;
    (load.horizontal ? p.line_yoke_shorted_share : p.vertical_yoke_shorted_share) =
        load.shorted_share;
    return p;
}

Run run(const Load& load, std::uint32_t seed) {
    const sim::BoardParameters p = bench_with(load, seed);
    auto board = std::make_unique<sim::Board>(p, sim::BoardPower::kRelays);
    Run run;
    run.true_gain = board->front_end()
                        .input_error(load.horizontal ? ChannelId::h_yoke_a : ChannelId::v_yoke_a)
                        .gain;
    run.true_drive = {p.bench_step_supply_v, kKnownV,
                      p.bench_step_ohm + p.bench_step_switch_ohm + p.bench_load_path_ohm,
                      kKnownOhm};
    auto simulation = sim::BenchSimulation::create(YOKEDOCK_FIRMWARE_ELF, std::move(board));
    if (!simulation) {
        FAIL(simulation.error().text);
    }
    auto bench = bench::Bench::connect(
        std::make_unique<test::SimulationTransport>(*simulation.value()), "simulated");
    if (!bench) {
        FAIL(bench.error().text);
    }
    const auto info = capture::make_bench_info(bench.value(), true);
    auto samples =
        cli::sample_load(bench.value(), info, kAssumed, load.horizontal, [](const std::string&) {});
    if (!samples) {
        FAIL(samples.error().text);
    }
    run.samples = std::move(samples).value();
    return run;
}

/// As if that bench's gain and drive had been measured.
LoadStep as_calibrated(const Run& run) {
    StepSamples s = run.samples;
    for (double& a : s.amps) {
        a /= run.true_gain;
    }
    s.zero_u_a /= run.true_gain;
    s.gain_u_relative = kKnownGain;
    s.linearity_u_a = 0;
    return analysis::measure_load_step(s, run.true_drive);
}

struct Covered {
    synthetic::Coverage ohms; ///< errors in u: rms should be 1
    synthetic::Coverage henries;
    int bounds = 0;
    int second = 0;
    int unexplained = 0;
};

double in_u(const analysis::Figure& figure, double truth) {
    return (figure.value - truth) / std::hypot(figure.u, figure.u_clock);
}

void add(Covered& c, const LoadStep& step, const Load& load, const char* bench) {
    CAPTURE(step.problem);
    REQUIRE(step.ok);
    REQUIRE(step.resistance.status == analysis::FigureStatus::kMeasured);
    c.second += step.second.found ? 1 : 0;
    c.unexplained += step.residuals.good ? 0 : 1;
    const double ohm_off = in_u(step.resistance, load.ohm);
    c.ohms.add(ohm_off, 1, 0);
    double henry_off = 0;
    if (step.inductance.status == analysis::FigureStatus::kMeasured) {
        henry_off = in_u(step.inductance, load.henry);
        c.henries.add(henry_off, 1, 0);
    } else {
        ++c.bounds;
        CHECK(step.inductance.value > load.henry);
    }
    fmt::print(
        "  {:<10} {} {:8.4f} ohm {:9.3f} uH tau {:9.3f} us: R {:+.2f} u (u {:.4f}), L {:+.2f} "
        "u (u {:.3f} %){}\n",
        bench, load.horizontal ? 'h' : 'v', load.ohm, 1e6 * load.henry,
        1e6 * load.henry / (load.ohm + 10.15), ohm_off, step.resistance.u, henry_off,
        100 * step.inductance.u / load.henry, step.second.found ? " second rise" : "");
    std::fflush(stdout);
}

void print(const Covered& c, const char* bench) {
    fmt::print(
        "{}: within 2 u: R {} of {}, L {} of {}; rms error in u: R {:.2f}, L {:.2f}; mean {:+.2f}, "
        "{:+.2f}; bounds {}, second rises {}, unexplained {}\n",
        bench, c.ohms.inside, c.ohms.total, c.henries.inside, c.henries.total, c.ohms.rms_error(),
        c.henries.rms_error(), c.ohms.mean_error(), c.henries.mean_error(), c.bounds, c.second,
        c.unexplained);
    std::fflush(stdout);
}

/// 0.2 to 60 ohm and 0.05 to 40 mH, evenly in the logarithm.
std::vector<Load> seeded_loads(bool horizontal, unsigned count) {
    std::mt19937 random(4);
    std::uniform_real_distribution<double> uniform(0, 1);
    const auto log_uniform = [&](double low, double high) {
        return low * std::pow(high / low, uniform(random));
    };
    std::vector<Load> loads;
    for (unsigned k = 0; k < count; ++k) {
        const double ohm = log_uniform(0.2, 60);
        loads.push_back({ohm, log_uniform(0.05e-3, 40e-3), horizontal});
    }
    return loads;
}

void cover_40(bool horizontal) {
    Covered as_built;
    Covered calibrated;
    std::uint32_t seed = horizontal ? 500 : 100;
    for (const Load& load : seeded_loads(horizontal, 40)) {
        const Run one = run(load, ++seed);
        add(as_built, analysis::measure_load_step(one.samples, kAssumed), load, "as built");
        add(calibrated, as_calibrated(one), load, "calibrated");
    }
    print(as_built, "as built");
    print(calibrated, "calibrated");
}

} // namespace

TEST_CASE("40 seeded loads on the vertical drive, through firmware and wire", "[.][all_loads]") {
    cover_40(false);
}

TEST_CASE("40 seeded loads on the horizontal drive, through firmware and wire", "[.][all_loads]") {
    cover_40(true);
}
