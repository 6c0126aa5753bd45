// SPDX-License-Identifier: MIT
// What differs between two sets of figures, as numbers and in plain words. Pure.
#pragma once
#include "host/analysis/figure.hpp"
#include <string>
#include <vector>

namespace yokedock::report {

/// One figure in both sets. change = after - before; NaN where either was not measured.
struct Difference {
    std::string name;
    std::string text;
    std::string unit;
    double before = 0;
    double after = 0;
    double change = 0;
    double u = 0;         ///< standard uncertainty of the change
    bool differs = false; ///< by more than kCoverage times u
};

/// Beyond this many standard uncertainties a change is called one (about 95 % for a normal
/// distribution).
constexpr double kCoverage = 2.0;

/// All figures of `after` that `before` has too, in the order of `after`. With same_bench what is
/// common to both (gain, zero, clock) drops out of the uncertainty.
[[nodiscard]] std::vector<Difference>
differences(const analysis::FigureSet& before, const analysis::FigureSet& after, bool same_bench);

/// Sentences on lock, rate and size, the ones a person asks for first. before_name and after_name
/// stand for the two boards or records in the text. At least one sentence.
[[nodiscard]] std::vector<std::string>
explain_difference(const analysis::FigureSet& before, const analysis::FigureSet& after,
                   bool same_bench, const std::string& before_name, const std::string& after_name);

/// Table of all differences, plain ASCII, at most kColumns wide; '*' marks the ones beyond
/// uncertainty.
[[nodiscard]] std::string difference_table(const std::vector<Difference>& differences,
                                           const std::string& before_name,
                                           const std::string& after_name);

} // namespace yokedock::report
