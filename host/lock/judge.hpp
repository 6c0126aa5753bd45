// SPDX-License-Identifier: MIT
// What a board does with the sync it is given, from its retrace edges of one dwell. Pure.
#pragma once
#include "host/capture/observation.hpp"
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

/// One stretch of watching. Times are seconds on one axis, ascending.
struct Watch {
    std::vector<double> edge_s;               ///< starts of retrace
    std::vector<capture::Interval> unwatched; ///< where edges may have been lost
    double resolution_s = 62.5e-9;            ///< step of the stamps
    std::vector<double> sync_s;               ///< line or field starts sent; empty: no sync
    double free_run_hz = 0;                   ///< as seen without sync; 0: not known
    double steady_s = 0;                      ///< the phase must stay at its place for this long
};

struct Verdict {
    BoardState state = BoardState::undecided;
    std::string reason;
    double board_hz = 0;
    double board_u_hz = 0;
    double phase = 0; ///< of retrace after sync, periods
    double phase_u = 0;
    double jitter_s = 0;
    double acquired_s = -1; ///< from the first sync to where the phase stays; < 0: it never does
    long slips = 0;
    std::uint32_t edges = 0;
};

/// Most that the phase may drift in a dwell and still be called steady, periods.
constexpr double kSteadyDrift = 0.003;
/// The phase has settled when it stays this near to its last place, periods: equalising and broad
/// pulses bend a line loop's phase by some per cent in every field.
constexpr double kSettledPhase = 0.06;

[[nodiscard]] Verdict judge(const Watch& watch);

/// The dwell over which a board that runs past sync by beat_hz cannot be taken for locked: its
/// phase then drifts by twice kSteadyDrift. (A beat is the slowest thing an unlocked board can do;
/// a second-order loop just beyond its hold range of H slips at sqrt(2 H d) for d beyond, far
/// faster.)
[[nodiscard]] double least_dwell_s(double beat_hz);

} // namespace yokedock::lock
