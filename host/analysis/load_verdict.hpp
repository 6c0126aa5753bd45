// SPDX-License-Identifier: MIT
// What a load step says of the coil: is it the one the board wants? Pure.
#pragma once
#include "host/analysis/load_step.hpp"
#include <optional>

namespace yokedock::analysis {

/// Copper of a coil at working heat, over cold (MEASUREMENTS section 5): 20 degC to about 70 degC
/// by the 0.393 % per kelvin of IEC 60028.
inline constexpr double kCopperHot = 1.2;

/// The coil as the profile states it, cold.
struct ExpectedCoil {
    std::optional<double> inductance_h;
    std::optional<double> resistance_ohm;
    double tolerance_pct = 10;
};

/// A real yoke that was measured by this bench before.
struct LearnedCoil {
    Figure resistance;
    Figure inductance;
    Figure fast_inductance;
    bool second = false;      ///< it had a second time constant then
    double tolerance_pct = 5; ///< of L, and of R besides copper's heat; common practice, no source
};

struct LoadExpectation {
    std::string output = "vertical"; ///< where the load is plugged in, for the words
    std::string other = "horizontal";
    ExpectedCoil coil;
    ExpectedCoil other_coil; ///< what belongs to the other output
    std::optional<LearnedCoil> learned;
};

enum class LoadVerdict {
    kOk,
    kOpen,         ///< no current, or only a resistor across an open coil
    kShort,        ///< only the source limits the current, and it does not rise but jumps
    kShortedTurns, ///< two time constants, and an inductance too low
    kWrongWinding, ///< the other output's coil
    kReversed,     ///< the current reads negative
    kOutOfTolerance,
    kNotSure, ///< too uncertain, contradictory, or nothing to compare with
};

struct LoadJudgement {
    LoadVerdict verdict = LoadVerdict::kNotSure;
    std::string reason;                  ///< one sentence, with values
    std::vector<std::string> next_steps; ///< what to look at, first things first
    std::vector<std::string> notes;      ///< that change nothing in the verdict
};

[[nodiscard]] LoadJudgement judge_load(const LoadStep& step, const LoadExpectation& expected);

/// "out of tolerance"
[[nodiscard]] const char* word(LoadVerdict verdict);

} // namespace yokedock::analysis
