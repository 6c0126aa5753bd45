// SPDX-License-Identifier: MIT
// The load step against the outside: ngspice runs the same circuit, GSL fits the same samples.
#include "host/analysis/load_curve.hpp"
#include "tests/unit/analysis/load_bench.hpp"
#include "tests/unit/board/spice.hpp"
#include <catch2/catch.hpp>
#include <fmt/format.h>
#include <gsl/gsl_blas.h>
#include <gsl/gsl_multifit_nlinear.h>

using namespace load_bench;

namespace {

/// Drive, source resistance, coil (with its shorted winding, or a resistor across it), and the
/// current through an RC of the channel's lag.
std::string netlist(const Load& load, double volts, double source_ohm, double lag_s) {
    std::string s;
    const auto add = [&s](const std::string& line) { s += line + "\n"; };
    add(fmt::format("vs in 0 {}", volts));
    add(fmt::format("rs in top {}", source_ohm));
    add(fmt::format("l1 top mid {} ic=0", load.henry));
    add(fmt::format("r1 mid sense {}", load.ohm));
    add("vsense sense 0 0");
    if (load.parallel_ohm > 0) {
        add(fmt::format("rp top sense {}", load.parallel_ohm));
    }
    if (load.shorted_henry > 0) {
        add(fmt::format("l2 ring 0 {} ic=0", load.shorted_henry));
        add(fmt::format("r2 ring 0 {}", load.shorted_ohm));
        add(fmt::format("k1 l1 l2 {}", load.coupling));
    }
    add("bamps amps 0 v=i(vsense)");
    add("rlag amps lagged 1k");
    add(fmt::format("clag lagged 0 {} ic=0", lag_s / 1e3));
    return s;
}

struct Waveform {
    yokedock::sim::SpiceRun spice;
    double end_s = 0;
};

Waveform simulate(const Load& load, const Bench& b) {
    const Response r = respond(load, b.drive.volts, b.drive.source_ohm);
    Waveform w;
    double slow = 0;
    for (const Rise& rise : r.rises) {
        slow = std::max(slow, rise.tau_s);
    }
    w.end_s = 7 * (slow + b.claims.lag_s);
    // Second-order integration, error (h / tau)^2: an eighth of the lag holds it to 1 % of what
    // changes as fast as that, a 500th of the slow time constant to nothing.
    const double step_s = std::min(w.end_s / 4000, b.claims.lag_s / 8);
    w.spice =
        yokedock::sim::run_spice(netlist(load, b.drive.volts, b.drive.source_ohm, b.claims.lag_s),
                                 {"v(lagged)"}, step_s, w.end_s, 0);
    return w;
}

StepSamples sampled(const Waveform& w, const Bench& b, int count) {
    StepSamples s = b.claims;
    s.resolution_a = 0;
    for (int i = 1; i <= count; ++i) {
        s.time_s.push_back(w.end_s * i / (count + 1));
        s.amps.push_back(w.spice.at(0, s.time_s.back()));
    }
    return s;
}

} // namespace

TEST_CASE(
    "the lagged rise is the partial fractions where those hold, and whole where they do not") {
    for (const double tau : {0.3e-6, 5e-6, 1e-3}) {
        for (const double t : {0.1e-6, 3e-6, 200e-6, 10e-3}) {
            const double lag = 2e-6;
            CAPTURE(tau, t);
            const double direct =
                1 - (tau * std::exp(-t / tau) - lag * std::exp(-t / lag)) / (tau - lag);
            // The direct form loses digits by tau / (tau - lag) and by cancelling from 1.
            CHECK(lagged_rise(t, tau, lag) == Approx(direct).epsilon(1e-9).margin(1e-13));
            CHECK(lagged_rise(t, tau, lag) == Approx(lagged_rise(t, lag, tau)).epsilon(1e-12));
            const double h = 1e-4 * t;
            CHECK(lagged_rise_slope(t, tau, lag) ==
                  Approx((lagged_rise(t + h, tau, lag) - lagged_rise(t - h, tau, lag)) / (2 * h))
                      .epsilon(1e-5)
                      .margin(1e-6));
        }
    }
    // Equal time constants: 1 - (1 + x) exp(-x).
    CHECK(lagged_rise(2e-6, 2e-6, 2e-6) == Approx(1 - 2 * std::exp(-1.0)).epsilon(1e-12));
    CHECK(lagged_rise(2e-6, 2e-6, 2e-6 * (1 + 1e-12)) ==
          Approx(1 - 2 * std::exp(-1.0)).epsilon(1e-9));
    CHECK(lagged_rise(1e-3, 1e-9, 0) == 1);
    CHECK(lagged_rise(0, 1e-3, 2e-6) == 0);
    CHECK(lagged_rise(-1e-6, 1e-3, 2e-6) == 0);
    CHECK(lagged_rise(1, 1e-9, 1e-12) == 1); // nothing overflows
}

TEST_CASE("ngspice's current through source, coil and input lag gives back its R and L") {
    struct Case {
        bool horizontal;
        double ohm, henry;
    };
    for (const Case& c :
         {Case{false, 11, 22e-3}, Case{false, 0.3, 0.2e-3}, Case{true, 0.5, 0.25e-3},
          Case{true, 55, 0.3e-3}, Case{false, 40, 0.1e-3}}) {
        const Bench b = bench(c.horizontal);
        const Load load{c.ohm, c.henry};
        const Waveform w = simulate(load, b);
        INFO(w.spice.log);
        REQUIRE(w.spice.time_s.size() > 1000);
        const LoadStep step = measure_load_step(sampled(w, b, 400), b.drive);
        REQUIRE(step.ok);
        CAPTURE(c.ohm, c.henry, step.resistance.value, step.inductance.value);
        // ngspice's own error of reltol 1e-4 moves the whole resistance by as much, and the fit of
        // a 400th of a time constant by some 1e-4 more.
        CHECK(std::abs(step.resistance.value - c.ohm) < 5e-4 * (c.ohm + b.drive.source_ohm));
        CHECK(step.inductance.value == Approx(c.henry).epsilon(2e-3));
        CHECK_FALSE(step.second.found);
    }
}

TEST_CASE(
    "shorted turns: ngspice's coupled coils, the closed form of the tests, and what is found") {
    for (const double coupling : {0.7, 0.85, 0.98}) {
        const Bench b = bench(false);
        const Load load = with_shorted_turns(11, 22e-3, 0.1, coupling);
        const Waveform w = simulate(load, b);
        INFO(w.spice.log);
        REQUIRE(w.spice.time_s.size() > 1000);
        const Response r = respond(load, b.drive.volts, b.drive.source_ohm);
        double worst = 0;
        for (int i = 1; i < 500; ++i) {
            const double t = w.end_s * std::pow(i / 500.0, 3);
            worst = std::max(worst, std::abs(w.spice.at(0, t) - through_lag(r, t, b.claims.lag_s)));
        }
        CAPTURE(coupling, worst / r.final_a);
        CHECK(worst < 2e-3 * r.final_a);
        const LoadStep step = measure_load_step(sampled(w, b, 1000), b.drive);
        REQUIRE(step.ok);
        CAPTURE(step.second.f, step.second.strength, step.second.share, step.problem,
                step.residuals.smooth_a, step.second.fast_s, step.second.slow_s);
        REQUIRE(step.second.found);
        // The flux is that of the turns left, 0.81 of the coil; the first slope what leaks.
        CHECK(step.inductance.value == Approx(0.81 * 22e-3).epsilon(0.01));
        CHECK(step.resistance.value == Approx(0.9 * 11).epsilon(0.005));
        CHECK(step.fast_inductance.value ==
              Approx(0.81 * 22e-3 * (1 - coupling * coupling)).epsilon(0.05));
    }
}

TEST_CASE("a resistor across the coil: ngspice, and the coil without it") {
    const Bench b = bench(false);
    Load load{11, 22e-3};
    load.parallel_ohm = 330;
    const Waveform w = simulate(load, b);
    REQUIRE(w.spice.time_s.size() > 1000);
    // Read as the bench reads, with the quiet time before the edge; else ngspice's own error would
    // look like the shape of a rise far below the lag.
    std::mt19937 random(23);
    StepSamples samples = sampled(w, b, 1000);
    samples.resolution_a = b.claims.resolution_a;
    for (double& amps : samples.amps) {
        amps = read_out(b, amps, random);
    }
    for (int i = 0; i < 500; ++i) {
        samples.time_s.push_back(-1e-6 * (i + 1));
        samples.amps.push_back(read_out(b, 0, random));
    }
    const LoadStep step = measure_load_step(samples, b.drive);
    REQUIRE(step.second.found);
    CAPTURE(step.second.fast_s, step.second.share, step.second.share_u, step.second.resolved);
    // The jump is 35 mA, known to a few tenths of a code of 3.9 mA: 3 %.
    CHECK(step.parallel_ohm == Approx(330).epsilon(0.06));
    CHECK(step.coil_ohm == Approx(11).epsilon(0.01));
    CHECK(step.coil_h == Approx(22e-3).epsilon(0.01));
}

namespace {

struct GslData {
    const StepSamples* samples;
    double zero_weight; ///< of the zero known beforehand, in samples' weight
    double lag_s;
    std::size_t rises;
};

// By partial fractions, as the tests write it; not the code under test.
int residuals(const gsl_vector* x, void* data, gsl_vector* f) {
    const auto& d = *static_cast<const GslData*>(data);
    const std::size_t n = d.samples->time_s.size();
    for (std::size_t i = 0; i < n; ++i) {
        double value = gsl_vector_get(x, 0);
        for (std::size_t k = 0; k < d.rises; ++k) {
            const Response r{gsl_vector_get(x, 1 + 2 * k),
                             {{1, std::exp(gsl_vector_get(x, 2 + 2 * k))}}};
            value += through_lag(r, d.samples->time_s[i], d.lag_s);
        }
        gsl_vector_set(f, i, value - d.samples->amps[i]);
    }
    gsl_vector_set(f, n, d.zero_weight * gsl_vector_get(x, 0));
    return GSL_SUCCESS;
}

struct GslFit {
    std::vector<double> x;
    double covariance[5][5] = {};
    double rss = 0;
};

GslFit gsl_fit(GslData& data, std::vector<double> start) {
    const std::size_t p = start.size();
    const std::size_t rows = data.samples->time_s.size() + 1;
    gsl_multifit_nlinear_parameters parameters = gsl_multifit_nlinear_default_parameters();
    parameters.fdtype = GSL_MULTIFIT_NLINEAR_CTRDIFF;
    gsl_multifit_nlinear_workspace* w =
        gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &parameters, rows, p);
    gsl_multifit_nlinear_fdf fdf{};
    fdf.f = residuals;
    fdf.n = rows;
    fdf.p = p;
    fdf.params = &data;
    const gsl_vector_view x = gsl_vector_view_array(start.data(), p);
    gsl_multifit_nlinear_init(&x.vector, &fdf, w);
    int info = 0;
    REQUIRE(gsl_multifit_nlinear_driver(200, 1e-12, 1e-12, 0, nullptr, nullptr, &info, w) ==
            GSL_SUCCESS);
    GslFit fit;
    gsl_blas_ddot(w->f, w->f, &fit.rss);
    gsl_matrix* covariance = gsl_matrix_alloc(p, p);
    gsl_multifit_nlinear_covar(gsl_multifit_nlinear_jac(w), 0, covariance);
    for (std::size_t a = 0; a < p; ++a) {
        fit.x.push_back(gsl_vector_get(w->x, a));
        for (std::size_t c = 0; c < p; ++c) {
            fit.covariance[a][c] = gsl_matrix_get(covariance, a, c);
        }
    }
    gsl_matrix_free(covariance);
    gsl_multifit_nlinear_free(w);
    return fit;
}

double line(const Budget& budget, const std::string& source) {
    for (const BudgetLine& l : budget) {
        if (l.source == source) {
            return l.u;
        }
    }
    FAIL("no line " << source);
    return 0;
}

} // namespace

TEST_CASE("GSL's nonlinear fit of the same samples has the same R, L and noise uncertainty") {
    std::mt19937 random(21);
    for (int k = 0; k < 12; ++k) {
        Bench b = bench(k % 2 == 1);
        b.claims.lag_u_s = 0; // GSL has no parameters known beforehand: lag and origin held
        b.claims.origin_u_s = 0;
        b.noise_a = 1.0 * b.claims.resolution_a; // so the quantiser is white noise
        const Load load{log_uniform(0.2, 60, random), log_uniform(0.2e-3, 40e-3, random)};
        const StepPlan look = plan_first_look(b.drive);
        const Truth truth = draw_truth(b, random);
        const StepSamples looked = run(b, load, truth, look, random, 400);
        StepPlan plan = plan_load_step(measure_load_step(looked, b.drive), looked, b.drive);
        plan.starts_from_zero = true; // so that the base is the zero, for both
        const StepSamples samples = run(b, load, truth, plan, random, 600);
        const LoadStep step = measure_load_step(samples, b.drive);
        REQUIRE(step.ok);
        REQUIRE_FALSE(step.second.found);
        // The weight of the zero known beforehand: the residual's sd over its uncertainty.
        const double sd =
            std::hypot(step.residuals.noise_a, b.claims.resolution_a / std::sqrt(12.0));
        GslData data{&samples, sd / b.claims.zero_u_a, b.claims.lag_s, 1};
        const GslFit gsl = gsl_fit(data, {0, 0.5, std::log(load.henry / (load.ohm + 10))});
        const double ohm = b.drive.volts / gsl.x[1] - b.drive.source_ohm;
        const double henry = b.drive.volts / gsl.x[1] * std::exp(gsl.x[2]);
        CAPTURE(load.ohm, load.henry);
        // The weight above is known to 5 %; it moves R by less than a 50th of u. The minimum itself
        // both find far closer.
        CHECK(std::abs(step.resistance.value - ohm) < 0.02 * step.resistance.u);
        CHECK(std::abs(step.inductance.value - henry) < 0.02 * step.inductance.u);
        // R = V / a - Rs, L = V tau / a: noise and zero together are GSL's covariance, times sd^2.
        const double per_a = b.drive.volts / (gsl.x[1] * gsl.x[1]);
        const double gsl_u_ohm = sd * per_a * std::sqrt(gsl.covariance[1][1]);
        const double ours =
            std::hypot(line(step.resistance_budget, "noise"), line(step.resistance_budget, "zero"),
                       line(step.resistance_budget, "quantiser"));
        CHECK(ours == Approx(gsl_u_ohm).epsilon(0.1)); // sd from 800 residuals: 2.5 %, twice
        const double gsl_u_henry =
            sd * henry *
            std::sqrt(gsl.covariance[2][2] + gsl.covariance[1][1] / (gsl.x[1] * gsl.x[1]) -
                      2 * gsl.covariance[1][2] / gsl.x[1]);
        const double ours_henry =
            std::hypot(line(step.inductance_budget, "noise"), line(step.inductance_budget, "zero"),
                       line(step.inductance_budget, "quantiser"));
        CHECK(ours_henry == Approx(gsl_u_henry).epsilon(0.1));
    }
}

TEST_CASE("GSL's fit of two exponentials to shorted turns has the same two") {
    std::mt19937 random(22);
    Bench b = bench(false);
    b.claims.lag_u_s = 0;
    b.claims.origin_u_s = 0;
    const Load load = with_shorted_turns(11, 22e-3, 0.1, 0.9);
    const Truth truth{b.drive.volts, b.drive.source_ohm, 1, 0, b.claims.lag_s, 0, 0.35};
    const StepPlan look = plan_first_look(b.drive);
    const StepSamples looked = run(b, load, truth, look, random, 400);
    const StepPlan plan = plan_load_step(measure_load_step(looked, b.drive), looked, b.drive);
    const StepSamples samples = run(b, load, truth, plan, random, 1000);
    const LoadStep step = measure_load_step(samples, b.drive);
    REQUIRE(step.second.found);
    const double sd = std::hypot(step.residuals.noise_a, b.claims.resolution_a / std::sqrt(12.0));
    GslData data{&samples, sd / b.claims.zero_u_a, b.claims.lag_s, 2};
    const GslFit gsl = gsl_fit(data, {0, 0.4, std::log(1e-3), 0.1, std::log(3e-5)});
    // The weight of the zero again moves both a little: a 20th of the share's uncertainty.
    CHECK(gsl.x[3] / (gsl.x[1] + gsl.x[3]) ==
          Approx(step.second.share).margin(0.05 * step.second.share_u));
    CHECK(std::exp(gsl.x[4]) == Approx(step.second.fast_s).epsilon(0.01));
    CHECK(std::exp(gsl.x[2]) == Approx(step.second.slow_s).epsilon(0.002));
}
