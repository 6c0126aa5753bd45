// SPDX-License-Identifier: MIT
#include "host/diagnose/student.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>

namespace yokedock::diagnose {
namespace {

// Continued fraction of the incomplete beta function by Lentz's method (DLMF 8.17.22).
double beta_fraction(double x, double a, double b) {
    constexpr double kTiny = 1e-300;
    constexpr int kMostSteps = 5000;
    const auto sound = [](double v) { return std::abs(v) < kTiny ? kTiny : v; };
    double c = 1;
    double d = 1 / sound(1 - (a + b) * x / (a + 1));
    double value = d;
    for (int m = 1; m < kMostSteps; ++m) {
        const double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
        d = 1 / sound(1 + even * d);
        c = sound(1 + even / c);
        value *= c * d;
        const double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
        d = 1 / sound(1 + odd * d);
        c = sound(1 + odd / c);
        value *= c * d;
        if (std::abs(c * d - 1) < 1e-15) {
            break;
        }
    }
    return value;
}

// Regularised incomplete beta function.
double beta_part(double x, double a, double b) {
    if (x <= 0) {
        return 0;
    }
    const double front = std::exp(std::lgamma(a + b) - std::lgamma(a) - std::lgamma(b) +
                                  a * std::log(x) + b * std::log1p(-x));
    return x < (a + 1) / (a + b + 2) ? front * beta_fraction(x, a, b) / a
                                     : 1 - front * beta_fraction(1 - x, b, a) / b;
}

// P(T > t) for t >= 0.
double upper_tail(double t, double freedoms) {
    if (std::isinf(freedoms)) {
        return std::erfc(t / std::sqrt(2.0)) / 2;
    }
    return beta_part(freedoms / (freedoms + t * t), freedoms / 2, 0.5) / 2;
}

} // namespace

double student_quantile(double probability, double freedoms) {
    assert(probability > 0 && probability < 1 && freedoms > 0);
    // Beyond this the gamma functions lose more digits than the two distributions differ by.
    constexpr double kNormalFrom = 1e7;
    const double f = freedoms > kNormalFrom ? kManyFreedoms : freedoms;
    const double tail = std::min(probability, 1 - probability);
    double low = 0;
    double high = 1;
    while (upper_tail(high, f) > tail && high < 1e300) {
        high *= 2;
    }
    for (int i = 0; i < 200 && high - low > 1e-13 * high; ++i) {
        const double middle = (low + high) / 2;
        (upper_tail(middle, f) > tail ? low : high) = middle;
    }
    const double t = (low + high) / 2;
    return probability < 0.5 ? -t : t;
}

double effective_freedoms(double variance_a, double freedoms_a, double variance_b,
                          double freedoms_b) {
    const double bottom =
        variance_a * variance_a / freedoms_a + variance_b * variance_b / freedoms_b;
    const double top = (variance_a + variance_b) * (variance_a + variance_b);
    return bottom > 0 ? top / bottom : kManyFreedoms;
}

Spread moderated(const Spread& known, const Spread& seen) {
    const double all = known.freedoms + seen.freedoms;
    return {
        std::sqrt((known.freedoms * known.sd * known.sd + seen.freedoms * seen.sd * seen.sd) / all),
        all};
}

} // namespace yokedock::diagnose
