// SPDX-License-Identifier: MIT
// Faults that come and go while the board runs: the component values at any moment. Pure sums over
// time: the same board, faults and seeds give the same moments on every machine.
#pragma once
#include "demo/virtual_bench/board/faults.hpp"
#include "demo/virtual_bench/board/random.hpp"

namespace yokedock::sim {

class LiveFaults {
  public:
    /// healthy: the board without them. Every use is live().
    LiveFaults(const BoardParameters& healthy, const std::vector<FaultUse>& faults, double sink_c);

    /// When to look next: infinity when no fault is live. Not before time 0.
    [[nodiscard]] double next_look_s() const { return next_look_s_; }
    /// Looks at time_s (not before the last call's), with the heat sink at sink_c. True: the values
    /// have changed.
    bool look(double time_s, double sink_c);
    /// New values of everything else.
    void set_healthy(const BoardParameters& healthy) { healthy_ = healthy; }
    /// The values now.
    [[nodiscard]] BoardParameters parameters() const;
    /// How much of fault number n is there, 0 to 1.
    [[nodiscard]] double part(std::size_t n) const { return faults_[n].part; }

    /// A heat-dependent fault is looked at so often, and moves in steps of this part of itself: a
    /// new value costs a rebuild of the circuits it is in.
    static constexpr double kHeatLookS = 10e-3;
    static constexpr double kPartStep = 1.0 / 64;

  private:
    struct State {
        FaultUse use;
        Random random;
        bool on;
        double switch_s; ///< when `on` changes
        double part;
    };
    static double drawn(State& state);
    static double part_of(const State& state, double sink_c);
    void plan(double time_s);

    BoardParameters healthy_;
    std::vector<State> faults_;
    double next_look_s_;
};

} // namespace yokedock::sim
