// SPDX-License-Identifier: MIT
// Where a measured value stands against what it may be. Inside of load_verdict.hpp.
#pragma once
#include "host/analysis/load_verdict.hpp"

namespace yokedock::analysis {

struct Band {
    double low = 0;
    double high = 0;
};

enum class LoadStanding {
    kNotStated,   ///< nobody said what it may be
    kNotMeasured, ///< or it was not measured
    kInside,
    kLow,    ///< by more than 2 u
    kHigh,   ///< by more than 2 u
    kNearBy, ///< outside, but by less than 2 u
    kCoarse, ///< 2 u is wider than half the band: cannot be told
};

[[nodiscard]] LoadStanding stand(double value, double u, const Band& band);

struct Standings {
    LoadStanding inductance = LoadStanding::kNotStated;
    LoadStanding resistance = LoadStanding::kNotStated;
    Band inductance_h;
    Band resistance_ohm;

    [[nodiscard]] bool off() const; ///< one is low or high
    [[nodiscard]] bool any() const; ///< one is stated
    [[nodiscard]] bool inductance_low() const { return inductance == LoadStanding::kLow; }
};

/// Copper is up to kCopperHot above the cold value of the profile; a learned coil and this one may
/// each have been hot.
[[nodiscard]] Standings against_profile(const LoadStep& step, const ExpectedCoil& coil);
[[nodiscard]] Standings against_learned(const LoadStep& step, const LearnedCoil& coil);
/// The coil without the resistor across it (LoadStep::parallel_ohm), against the profile.
[[nodiscard]] Standings bare_against_profile(const LoadStep& step, const ExpectedCoil& coil);

} // namespace yokedock::analysis
