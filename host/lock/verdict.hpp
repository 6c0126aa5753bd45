// SPDX-License-Identifier: MIT
// What a sweep says about the board as a whole. Pure.
#pragma once
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

constexpr double kNearEdge = 0.15; ///< of the range: the set rate is too near its end
/// Narrower than this, as a share of the set rate, is a sign of weak sync. Data sheets: vertical 46
/// to 54 and 56 to 64 Hz (AN5192K), 13 % at the least; line catching range +-500 Hz (AN5192K), 6 %,
/// holding +-900 Hz (LM1391), 11 %. Somewhat and half below those: a margin of ours, no source.
constexpr double kNarrowField = 0.10;
constexpr double kNarrowLine = 0.03;

/// Where the set rate stands in the hold range.
enum class Standing {
    kUnknown, ///< not measured far enough to tell
    kNoLock,  ///< the board does not lock at the set rate
    kNarrow,  ///< it does, but hardly anywhere else
    kNearLow, ///< within kNearEdge of the range from its lower end
    kNearHigh,
    kInside
};
[[nodiscard]] Standing standing(const SweepSummary& summary);

/// The reasons to call the board faulty or misadjusted, one sentence each; none: good, or not
/// measured far enough to tell. The findings say what to do about them.
[[nodiscard]] std::vector<std::string> reasons_against(const SweepSummary& summary);

} // namespace yokedock::lock
