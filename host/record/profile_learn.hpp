// SPDX-License-Identifier: MIT
// What good boards show, as expected figures with tolerances. Pure.
#pragma once
#include "host/analysis/figure.hpp"
#include "host/record/profile.hpp"

namespace yokedock::record {

struct Learned {
    std::map<std::string, ExpectedFigure> expected;
    struct LeftOut {
        std::string figure;
        std::string reason;
    };
    std::vector<LeftOut> left_out; ///< figures that cannot be expected of a board, with the reason
};

/// One set of figures per board; at least one. A figure is learned when all boards have it.
///
/// One board: value as measured, tolerance by default for its unit (common practice, no source); a
/// lock sweep's figures: from the tolerance of parts, see free_rates.hpp.
/// n boards: mean, and the 95 % prediction interval for one more board of the same kind,
/// t(0.975, n - 1) s sqrt(1 + 1/n) (Hahn and Meeker, Statistical Intervals, 1991, chapter 4, from
/// memory; normal spread assumed), widened by twice the mean uncertainty of the readings, since
/// another bench may read the same board that differently. Never narrower than that uncertainty.
[[nodiscard]] Learned learn_expected(const std::vector<analysis::FigureSet>& boards);

/// Quantile 0.975 of Student's t; from 31 degrees of freedom on that of 30, which is at most 4.2 %
/// more. Source: NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2.
[[nodiscard]] double student_t_975(std::size_t degrees_of_freedom);

} // namespace yokedock::record
