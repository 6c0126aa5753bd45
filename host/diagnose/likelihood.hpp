// SPDX-License-Identifier: MIT
// Likelihoods of one figure's deviation. Inside the module only. All are natural logarithms.
#pragma once
#include "host/diagnose/diagnose.hpp"

namespace yokedock::diagnose {

/// A good board: the deviation is 0 within its sd; rarely (kStray) it is anything.
[[nodiscard]] double log_healthy(const Deviation& deviation);
/// Unknown fault: half the figures are as on a good board, half anywhere.
[[nodiscard]] double log_other(const Deviation& deviation);
/// How near a figure is to the section a row belongs to: side effects come sooner near by.
enum class Nearness { kSameAxis, kNoAxis, kOtherAxis };
[[nodiscard]] Nearness nearness(const FaultRow& row, const Feature& feature);

/// How a fault shows: its severity (0 to 1), and whether the effects that its row calls "maybe"
/// have come. They come together or not at all: one clipped ramp bends, shrinks and folds.
struct Course {
    double severity = 0;
    bool maybes = false;
};

/// A fault that takes this course. effect nullptr: the row does not speak of the figure, so it
/// should stand still, but side effects are more likely than on a good board.
[[nodiscard]] double log_fault(const Deviation& deviation, const Effect* effect, Nearness near,
                               const Course& course);

/// The deviation that an effect predicts, in the scale; flags have none.
[[nodiscard]] double predicted(const Feature& feature, const Effect& effect, double severity);

} // namespace yokedock::diagnose
