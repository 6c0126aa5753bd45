// SPDX-License-Identifier: MIT
// The phase of retrace against sync over one watch, edge by edge. Inside the module only. Pure.
#pragma once
#include "host/analysis/period.hpp"

namespace yokedock::lock {

/// Edges from the first sync on; equal sizes. phase: periods of sync, counted from edge to edge by
/// nearest turns.
struct PhaseCourse {
    std::vector<double> edge_s, phase;
    double period_s = 0; ///< of sync
};

[[nodiscard]] PhaseCourse phase_course(const std::vector<double>& edge_s,
                                       const analysis::PeriodFit& sync);

/// Takes out what comes again every repeat_s and is not drift: the vertical interval bends a line
/// loop's phase in every field, and the nearer to the hold limit the more, without harm to lock.
/// Its shape is that of the last repeat_s, from its median. Untouched when the course is shorter
/// than that with kLeastPairs to spare, when it looked otherwise one repetition earlier, or when it
/// moves so much that it holds no place anyway.
/// Edges move with their phases. repeat_s 0: nothing repeats.
void remove_repeating(PhaseCourse& course, double repeat_s);

/// Pairs of edges one repeat_s apart that are needed to tell shape from drift.
constexpr std::size_t kLeastPairs = 12;

/// First index from which the phase stays within `bound` of its last place; size when it never
/// does. A lone stray edge does not count.
[[nodiscard]] std::size_t settled_from(const PhaseCourse& course, double bound);

} // namespace yokedock::lock
