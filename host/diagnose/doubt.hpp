// SPDX-License-Identifier: MIT
// A verdict of "nothing found" looked at once more.
#pragma once
#include "host/diagnose/diagnose.hpp"

namespace yokedock::diagnose {

/// Standard deviations of a good board's; less than one board in 10^8 is so far off by chance.
constexpr double kNoGoodBoard = 6;

/// Where nothing was found, but a figure on which others depend (Feature::root: the rail) is so far
/// off that no good board shows it and no fault of the catalogue either, the outcome becomes
/// kUnclear, with a remark: a fault that is not known, or the profile of another board.
void doubt_healthy(const Catalogue& catalogue, const Evidence& evidence, Diagnosis& diagnosis);

} // namespace yokedock::diagnose
