// SPDX-License-Identifier: MIT
// What a sweep says about the board as a whole. Pure.
#pragma once
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

constexpr double kNearEdge = 0.15;    ///< of the range: the set rate is too near its end
constexpr double kNarrowLine = 0.01;  ///< of the set rate: usual line ranges are 3 to 6 % each side
constexpr double kNarrowField = 0.03; ///< usual vertical ranges reach 10 % and more

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
