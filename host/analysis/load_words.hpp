// SPDX-License-Identifier: MIT
// What to look at, for each verdict on a load. Inside of load_verdict.hpp.
#pragma once
#include "host/analysis/load_verdict.hpp"

namespace yokedock::analysis {

/// "10.2 ohm", "21.8 mH +-0.3", "at most 12 uH"; +- is 2 u.
[[nodiscard]] std::string value_words(const Figure& figure);
/// "10 to 13 ohm", the same way.
[[nodiscard]] std::string band_words(double low, double high, const std::string& unit);

/// By how R and L are off: ratios to what they should be; 0 where one is not known.
[[nodiscard]] std::vector<std::string> tolerance_steps(double ohm_ratio, double henry_ratio,
                                                       const std::string& output);
/// The fixed ones.
[[nodiscard]] std::vector<std::string> verdict_steps(LoadVerdict verdict,
                                                     const LoadExpectation& expected);

} // namespace yokedock::analysis
