// SPDX-License-Identifier: MIT
// Least squares against the NIST Statistical Reference Datasets (certified values) and against GSL.
#include "host/analysis/polynomial.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <catch2/catch.hpp>
#include <fstream>
#include <gsl/gsl_multifit.h>

using namespace yokedock::analysis;

namespace {

// Digits of agreement: -log10 of the relative error.
double digits(double value, double certified) {
    return -std::log10(std::max(std::abs(value / certified - 1), 1e-16));
}

// Norris, 36 pairs y x. From the NIST file as python3-scipy installs it
// (scipy/stats/tests/data/nist_linregress).
constexpr double kNorris[][2] = {
    {0.1, 0.2},     {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1},    {228.1, 226.5},
    {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6}, {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4},
    {0.1, 0.6},     {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
    {557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3},
    {0.6, 0.3},     {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0},
    {10.2, 11.1},   {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}};

// Pontius, y of 40 loads of a load cell; x = 150000, 300000 .. 3000000 twice. From memory; the
// certified coefficients below come out to 10 digits, which they would not with one wrong digit.
constexpr double kPontius[] = {
    .11019,  .21956,  .32949,  .43899,  .54803,  .65694,  .76562,  .87487,  .98292,  1.09146,
    1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844,
    .11052,  .22018,  .32939,  .43886,  .54798,  .65739,  .76596,  .87474,  .98300,  1.09150,
    1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829};

} // namespace

TEST_CASE("Norris: straight line to the certified 9 digits") {
    std::vector<double> x;
    std::vector<double> y;
    for (const auto& pair : kNorris) {
        y.push_back(pair[0]);
        x.push_back(pair[1]);
    }
    const PolynomialFit fit = fit_polynomial(x, y, 1);
    REQUIRE(fit.fit.ok);
    const auto b = fit.monomial();
    CHECK(digits(b[0], -0.262323073774029) > 9);
    CHECK(digits(b[1], 1.00211681802045) > 9);
    CHECK(digits(fit.fit.residual_sd(), 0.884796396144373) > 9);
}

TEST_CASE("the Norris numbers here are those of the installed file") {
    std::ifstream file(
        "/usr/lib/python3/dist-packages/scipy/stats/tests/data/nist_linregress/Norris.dat");
    if (!file) {
        WARN("scipy's copy of Norris.dat is not installed: embedded numbers not compared");
        return;
    }
    std::string line;
    for (int i = 0; i < 60; ++i) { // the data start in line 61, the file says
        std::getline(file, line);
    }
    for (const auto& pair : kNorris) {
        double y = 0;
        double x = 0;
        REQUIRE(file >> y >> x);
        CHECK(y == pair[0]);
        CHECK(x == pair[1]);
    }
}

TEST_CASE("Pontius: quadratic over a span of 3 million, to 9 digits") {
    std::vector<double> x;
    for (int i = 0; i < 40; ++i) {
        x.push_back(150000.0 * (i % 20 + 1));
    }
    const PolynomialFit fit = fit_polynomial(x, {std::begin(kPontius), std::end(kPontius)}, 2);
    REQUIRE(fit.fit.ok);
    const auto b = fit.monomial();
    CHECK(digits(b[0], 0.673565789473684E-03) > 9);
    CHECK(digits(b[1], 0.732059160401003E-06) > 9);
    CHECK(digits(b[2], -0.316081871345029E-14) > 9);
}

// Wampler1 and Wampler2 are exact polynomials (their definition, from memory): all coefficients 1,
// and 0.1^k.
TEST_CASE("Wampler1 and Wampler2: degree 5 without noise, to 9 digits") {
    std::vector<double> x;
    std::vector<double> y1;
    std::vector<double> y2;
    for (int i = 0; i <= 20; ++i) {
        x.push_back(i);
        y1.push_back(1 + i * (1 + i * (1 + i * (1 + i * (1.0 + i)))));
        y2.push_back(1 + .1 * i * (1 + .1 * i * (1 + .1 * i * (1 + .1 * i * (1 + .1 * i)))));
    }
    const auto b1 = fit_polynomial(x, y1, 5).monomial();
    const auto b2 = fit_polynomial(x, y2, 5).monomial();
    for (int k = 0; k <= 5; ++k) {
        CHECK(digits(b1[static_cast<std::size_t>(k)], 1) > 9);
        CHECK(digits(b2[static_cast<std::size_t>(k)], std::pow(0.1, k)) > 9);
    }
}

TEST_CASE("coefficients and covariance agree with GSL on a weighted noisy fit") {
    std::mt19937 random(7);
    std::normal_distribution<double> normal(0, 0.05);
    std::uniform_real_distribution<double> uniform(0.5, 2);
    const std::size_t n = 200;
    const std::size_t p = 6;
    Matrix design(n, p);
    std::vector<double> y(n);
    std::vector<double> w(n);
    gsl_matrix* gx = gsl_matrix_alloc(n, p);
    gsl_vector* gy = gsl_vector_alloc(n);
    gsl_vector* gw = gsl_vector_alloc(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double x = -1 + 2 * static_cast<double>(i) / (n - 1);
        legendre(x, p - 1, design.row(i));
        y[i] = std::exp(x) + normal(random);
        w[i] = uniform(random);
        gsl_vector_set(gy, i, y[i]);
        gsl_vector_set(gw, i, w[i]);
        for (std::size_t j = 0; j < p; ++j) {
            gsl_matrix_set(gx, i, j, design(i, j));
        }
    }
    gsl_vector* gc = gsl_vector_alloc(p);
    gsl_matrix* gcov = gsl_matrix_alloc(p, p);
    double chisq = 0;
    gsl_multifit_linear_workspace* work = gsl_multifit_linear_alloc(n, p);
    gsl_multifit_wlinear(gx, gw, gy, gc, gcov, &chisq, work);
    const LinearFit fit = least_squares(design, y, w);
    REQUIRE(fit.ok);
    CHECK(fit.rss == Approx(chisq).epsilon(1e-10));
    for (std::size_t i = 0; i < p; ++i) {
        CHECK(fit.coefficients[i] == Approx(gsl_vector_get(gc, i)).epsilon(1e-9).margin(1e-12));
        for (std::size_t j = 0; j < p; ++j) { // GSL's weights are 1 / variance: covariance unscaled
            CHECK(fit.inverse_normal(i, j) ==
                  Approx(gsl_matrix_get(gcov, i, j)).epsilon(1e-9).margin(1e-14));
        }
    }
    gsl_multifit_linear_free(work);
    gsl_matrix_free(gcov);
    gsl_vector_free(gc);
    gsl_vector_free(gw);
    gsl_vector_free(gy);
    gsl_matrix_free(gx);
}

TEST_CASE("columns that depend on each other are refused, not fitted") {
    Matrix design(4, 2);
    for (std::size_t i = 0; i < 4; ++i) {
        design(i, 0) = static_cast<double>(i);
        design(i, 1) = 2.0 * static_cast<double>(i);
    }
    CHECK_FALSE(least_squares(design, {1, 2, 3, 4}).ok);
    CHECK_FALSE(least_squares(Matrix(1, 2), {1}).ok);
}
