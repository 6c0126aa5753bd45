// SPDX-License-Identifier: MIT
// A verdict of "nothing found" looked at once more.
#pragma once
#include "host/diagnose/diagnose.hpp"

namespace yokedock::diagnose {

/// Standard deviations of a good board's, of which the half band of an expectation is two: one good
/// figure in 370 is so far off by chance.
constexpr double kNoGoodBoard = 3;

/// A remark for each figure on which others depend (Feature::root: the rail) that is so far off
/// that hardly any good board shows it. Where no fault of the catalogue fits either, it is a fault
/// that is not known, or the profile of another board: then diagnose() takes nothing for found.
[[nodiscard]] std::vector<std::string> doubts(const std::vector<Deviation>& found);

} // namespace yokedock::diagnose
