// SPDX-License-Identifier: MIT
// How long a full measurement takes to analyse, and how the fits in it compare with GSL's. Prints;
// never judges by time.
#include "host/analysis/analyse.hpp"
#include "host/analysis/polynomial.hpp"
#include "tests/unit/analysis/synthetic_board.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <chrono>
#include <cstdio>
#include <gsl/gsl_fit.h>
#include <gsl/gsl_multifit.h>

using namespace yokedock;
using namespace yokedock::analysis;

namespace {

// Median of repeated runs, seconds: a busy machine lengthens some of them.
template <class F> double median_seconds(int runs, const F& f) {
    std::vector<double> t;
    for (int i = 0; i < runs; ++i) {
        const auto begin = std::chrono::steady_clock::now();
        f();
        t.push_back(
            std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count());
    }
    std::sort(t.begin(), t.end());
    return t[t.size() / 2];
}

void report(const char* what, double ours, double gsl) {
    std::printf("%-44s %9.3f ms, GSL %9.3f ms, ratio %.2f\n", what, 1e3 * ours, 1e3 * gsl,
                ours / gsl);
}

/// A ramp of `places` points with noise, in Legendre order 7.
struct RampProblem {
    static constexpr std::size_t kSize = 8;
    std::vector<double> x, y, w;
    explicit RampProblem(std::size_t places) {
        std::mt19937 random(1);
        std::normal_distribution<double> normal(0, 1e-3);
        for (std::size_t i = 0; i < places; ++i) {
            x.push_back(-1 + 2 * static_cast<double>(i) / static_cast<double>(places - 1));
            y.push_back(1 - std::exp(-0.1 * x.back()) + normal(random));
            w.push_back(1 + static_cast<double>(i % 3));
        }
    }
};

/// The same weighted fit by gsl_multifit_wlinear, allocation and basis included as ours includes
/// them.
double gsl_ramp(const RampProblem& problem) {
    const std::size_t n = problem.x.size();
    gsl_matrix* x = gsl_matrix_alloc(n, RampProblem::kSize);
    for (std::size_t i = 0; i < n; ++i) {
        legendre(problem.x[i], RampProblem::kSize - 1, gsl_matrix_ptr(x, i, 0));
    }
    const gsl_vector_const_view y = gsl_vector_const_view_array(problem.y.data(), n);
    const gsl_vector_const_view w = gsl_vector_const_view_array(problem.w.data(), n);
    gsl_vector* c = gsl_vector_alloc(RampProblem::kSize);
    gsl_matrix* cov = gsl_matrix_alloc(RampProblem::kSize, RampProblem::kSize);
    gsl_multifit_linear_workspace* work = gsl_multifit_linear_alloc(n, RampProblem::kSize);
    double chisq = 0;
    gsl_multifit_wlinear(x, &w.vector, &y.vector, c, cov, &chisq, work);
    const double first = gsl_vector_get(c, 0);
    gsl_multifit_linear_free(work);
    gsl_matrix_free(cov);
    gsl_vector_free(c);
    gsl_matrix_free(x);
    return first;
}

double our_ramp(const RampProblem& problem) {
    return fit_polynomial(problem.x, problem.y, RampProblem::kSize - 1, problem.w)
        .fit.coefficients[0];
}

/// Straight line through edges by gsl_fit_linear; edges numbered beforehand, which ours does
/// itself.
double gsl_period(const std::vector<double>& index, const std::vector<double>& time) {
    double c0 = 0, c1 = 0, v00 = 0, v01 = 0, v11 = 0, rss = 0;
    gsl_fit_linear(index.data(), 1, time.data(), 1, time.size(), &c0, &c1, &v00, &v01, &v11, &rss);
    return c1;
}

std::vector<double> line_edges(std::size_t n) {
    std::mt19937 random(2);
    std::normal_distribution<double> normal(0, 50e-9);
    std::vector<double> t = synthetic::times(0, 63.556e-6, n);
    for (double& x : t) {
        x = 62.5e-9 * std::floor((x + normal(random)) / 62.5e-9);
    }
    return t;
}

capture::Observation full_record() {
    synthetic::Board board;
    board.duration_s = 3.5; // device time of a whole measurement
    return board.observe();
}

} // namespace

TEST_CASE("fits agree with GSL before they are raced") {
    const RampProblem problem(1024);
    CHECK(our_ramp(problem) == Approx(gsl_ramp(problem)).epsilon(1e-10));
    const auto t = line_edges(20000);
    const auto fit = fit_period(t, 62.5e-9);
    REQUIRE(fit);
    const auto index = synthetic::times(0, 1, t.size());
    CHECK(fit->period_s == Approx(gsl_period(index, t)).epsilon(1e-12));
}

TEST_CASE("ratios to GSL") {
    const RampProblem ramp(1024);
    const auto t = line_edges(55000);
    const auto index = synthetic::times(0, 1, t.size());
    volatile double sink = 0;
    report("ramp of 1024 places, order 7", median_seconds(101, [&] { sink = our_ramp(ramp); }),
           median_seconds(101, [&] { sink = gsl_ramp(ramp); }));
    report("period of 55000 edges (ours numbers them too)",
           median_seconds(31, [&] { sink = fit_period(t, 62.5e-9)->period_s; }),
           median_seconds(31, [&] { sink = gsl_period(index, t); }));
    const capture::Observation o = full_record();
    // What GSL would have to fit for the same record: two ramps by eleven models each, and two
    // periods.
    const double fits_by_gsl = median_seconds(11, [&] {
        for (int i = 0; i < 22; ++i) {
            sink = gsl_ramp(ramp);
        }
        sink = gsl_period(index, t);
        sink = gsl_period(index, t);
    });
    report("whole record against those fits alone",
           median_seconds(11, [&] { sink = analyse(o).figures.front().value; }), fits_by_gsl);
}

TEST_CASE("analysis benchmarks", "[!benchmark]") {
    const capture::Observation o = full_record();
    BENCHMARK("analyse a full record") {
        return analyse(o).figures.size();
    };
    const RampProblem ramp(1024);
    BENCHMARK("ramp, order 7, ours") {
        return our_ramp(ramp);
    };
    BENCHMARK("ramp, order 7, GSL") {
        return gsl_ramp(ramp);
    };
    const auto t = line_edges(55000);
    BENCHMARK("period of 55000 edges, ours") {
        return fit_period(t, 62.5e-9)->period_s;
    };
    const auto index = synthetic::times(0, 1, t.size());
    BENCHMARK("period of 55000 edges, GSL") {
        return gsl_period(index, t);
    };
}
