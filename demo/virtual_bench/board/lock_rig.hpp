// SPDX-License-Identifier: MIT
// A board under ideal sync whose rate may be changed while it runs, and whether it is locked, from
// retrace edges against sync starts. A value: copies go on from the same state.
#pragma once
#include "demo/virtual_bench/board/board_model.hpp"
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "demo/virtual_bench/board/lock_truth.hpp"
#include <optional>
#include <vector>

namespace yokedock::sim {

class LockRig {
  public:
    LockRig(const BoardParameters& p, LockAxis axis) : board_(p), axis_(axis) {}

    /// Sync from now on, its first field beginning delay_s later; whatever came before is gone.
    void start_sync(const wire::SyncSettings& settings, double delay_s = 0);
    void remove_sync(); ///< from the next field on; runs up to it
    /// Other settings where the next field begins; runs up to there.
    void change(const wire::SyncSettings& settings);
    void run_for(double seconds) { run(now_s() + seconds, nullptr); }
    [[nodiscard]] double now_s() const { return board_.now_s(); }
    [[nodiscard]] const BoardModel& board() const { return board_; }

    /// Watches for window_s: locked when there is one retrace per sync period and their phase stays
    /// within drift (sync periods) all the time.
    [[nodiscard]] bool locked(double window_s, double drift);
    /// Seconds until it was locked for window_s, when that was within `seconds`; to a quarter of
    /// window_s.
    [[nodiscard]] std::optional<double> locks_within(double seconds, double window_s, double drift);
    /// Mean rate of the retrace edges over seconds; 0 when there are fewer than three.
    [[nodiscard]] double rate_hz(double seconds);
    /// The next retrace begin.
    [[nodiscard]] std::optional<double> next_edge(double within_s);

  private:
    struct Seen {
        std::optional<double> start_s; ///< of the first sync period
        std::vector<double> edge_s;    ///< retrace begins
    };
    void run(double limit_s, Seen* seen);
    [[nodiscard]] bool steady(const Seen& seen, double window_s, double drift) const;
    void run_board(double limit_s, Seen* seen);

    BoardModel board_;
    std::optional<IdealSync> sync_;
    LockAxis axis_;
};

} // namespace yokedock::sim
