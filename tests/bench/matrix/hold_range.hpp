// SPDX-License-Identifier: MIT
// How far the lock of a simulated board can be pulled, in coarse steps.
#pragma once
#include "demo/virtual_bench/board/lock_rig.hpp"
#include "host/analysis/figure.hpp"

namespace yokedock::matrix {

/// Figures v_hold_below_pct, v_hold_above_pct (or h_): how far below and above the set rate lock is
/// held, percent, from the board model under ideal sync: what `yokedock sweep` finds, but in few
/// steps (a sweep's limits agree with such runs, tests/system/sweep_truth_test.cpp). Not measured:
/// no lock at the set rate. u: a step, evenly spread. Of the line also h_pull_in_share_pct, sync
/// applied at one phase.
[[nodiscard]] analysis::FigureSet hold_range(const sim::BoardParameters& board,
                                             const wire::SyncSettings& sync, sim::LockAxis axis);

} // namespace yokedock::matrix
