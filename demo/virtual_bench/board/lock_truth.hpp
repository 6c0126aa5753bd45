// SPDX-License-Identifier: MIT
// Over which sync rates a board really keeps and finds lock: by brute force on the board model
// under ideal sync, from its noisy retrace edges, without firmware and without any host code. What
// the sweep's limits are compared with.
//
// Hold limits are sharp. Pull-in limits are a band where the instant at which sync comes back
// decides: for the vertical oscillator just above its free run (the beat brings the pulse to the
// capture window in time or not), for the line loop where a lucky phase locks without a slip. Sync
// is therefore applied at several phases, evenly spread over a period of the free-running board.
#pragma once
#include "demo/virtual_bench/board/board_model.hpp"
#include "shared/wire/messages.hpp"

namespace yokedock::sim {

enum class LockAxis { kField, kLine };

struct LockTruthOptions {
    double resolution_hz = 0;  ///< of each limit; 0: 0.02 Hz for the field, 2 Hz for the line
    double acquire_s = 1.0;    ///< time within which a pull-in must have locked
    double some_acquire_s = 0; ///< the same for some_hz; 0: acquire_s
    int phases = 5;            ///< at which sync is applied
    double low_hz = 0;         ///< rates looked at; 0: 0.75 and 1.25 of the set rate, within what a
    double high_hz = 0;        ///< device can make
    double warm_s = 0.5;       ///< with sync, before anything is looked at
};

struct HoldLimit {
    bool exists = false; ///< the board locks at the set rate at all
    bool beyond = false; ///< still locked at the end of the range looked at
    double hz = 0;       ///< last rate that stayed locked
};

struct PullInLimit {
    bool exists = false;    ///< some rate was found from every phase
    double every_hz = 0;    ///< farthest rate found from every phase tried
    double some_hz = 0;     ///< farthest rate found from at least one of them
    double acquired_s = -1; ///< longest time it took at every_hz
};

struct LockTruth {
    double free_run_hz = 0; ///< mean over 1 s without sync and noise; 0: no pulses
    bool locks_at_set_rate = false;
    HoldLimit hold_low, hold_high;
    PullInLimit pull_in_low, pull_in_high;
    double simulated_s = 0; ///< board time all this took
};

/// Settings for a rate of one axis, the other axis staying: for a field rate, half lines to the
/// nearest and the line rate trimmed so that the field rate is exact; for a line rate, half lines
/// so that the field rate is nearest to the nominal one. Even half lines where the pulses need
/// whole lines.
[[nodiscard]] wire::SyncSettings settings_at(const wire::SyncSettings& nominal, LockAxis axis,
                                             double rate_hz);
/// Rate of an axis as the settings say.
[[nodiscard]] double rate_of(const wire::SyncSettings& settings, LockAxis axis);

/// A new board with these values, all limits of one axis. settings must be ones that
/// sync::make_plan accepts (asserted).
[[nodiscard]] LockTruth measure_lock_truth(const BoardParameters& p,
                                           const wire::SyncSettings& settings, LockAxis axis,
                                           const LockTruthOptions& options = {});

/// The board with its heat sink where it ends up under this sync, so that nothing drifts during a
/// sweep.
[[nodiscard]] BoardParameters warmed_up(const BoardParameters& p,
                                        const wire::SyncSettings& settings);

} // namespace yokedock::sim
