// SPDX-License-Identifier: MIT
// Quantiles for judging differences with few readings. Pure.
#pragma once
#include <cstddef>
#include <limits>

namespace yokedock::diagnose {

inline constexpr double kManyFreedoms = std::numeric_limits<double>::infinity();

/// t with P(T <= t) = probability, for Student's t with any real number of degrees of freedom above
/// 0; kManyFreedoms: the normal distribution. probability between 0 and 1, both left out. Relative
/// error below 1e-9 for probabilities of 1e-9 and more on either side.
[[nodiscard]] double student_quantile(double probability, double freedoms);

/// Effective degrees of freedom of a sum of two independent variances (Welch-Satterthwaite, JCGM
/// 100:2008, G.4.1): (a + b)^2 / (a^2 / freedoms_a + b^2 / freedoms_b). Both variances 0:
/// kManyFreedoms.
[[nodiscard]] double effective_freedoms(double variance_a, double freedoms_a, double variance_b,
                                        double freedoms_b);

/// A standard deviation seen on few readings, drawn towards one that was known before: sqrt((f0
/// s0^2 + f s^2) / (f0 + f)), with f0 + f degrees of freedom. (G. K. Smyth, Linear models and
/// empirical Bayes methods, Stat. Appl. Genet. Mol. Biol. 3 (2004) art. 3, equation for the
/// moderated variance; from memory.)
struct Spread {
    double sd = 0;
    double freedoms = kManyFreedoms;
};
[[nodiscard]] Spread moderated(const Spread& known, const Spread& seen);

} // namespace yokedock::diagnose
