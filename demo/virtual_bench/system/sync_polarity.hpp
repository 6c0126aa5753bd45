// SPDX-License-Identifier: MIT
// Which level of the composite sync pin is the sync level. A real front end has a jumper for it;
// here the duty cycle tells: sync is at its active level for far less than half of the time in
// every standard.
#pragma once
#include "demo/virtual_bench/chip/chip.hpp"

namespace yokedock::sim {

class SyncPolarity {
  public:
    /// The pin's new level. Returns whether that level is the sync level.
    bool level_changed(Cycle at, bool high) {
        (high_ ? high_cycles_ : low_cycles_) += at - since_;
        high_ = high;
        since_ = at;
        ++edges_;
        if (high_cycles_ + low_cycles_ >= kWindowCycles) {
            if (edges_ >= kLeastEdges) { // a pin that rests tells nothing
                active_high_ = high_cycles_ < low_cycles_;
            }
            high_cycles_ = low_cycles_ = 0;
            edges_ = 0;
        }
        return high == active_high_;
    }
    bool active_high() const { return active_high_; }

  private:
    // 100 ms: longer than the longest vertical sync (a quarter of a 125 ms field) by so much that
    // even with it the active level stays under half. At the lowest line rate it holds 2000 edges.
    static constexpr Cycle kWindowCycles = 1'600'000;
    static constexpr unsigned kLeastEdges = 1000;

    bool active_high_ = false; ///< the firmware's default is active low
    bool high_ = false;
    Cycle since_ = 0;
    Cycle high_cycles_ = 0;
    Cycle low_cycles_ = 0;
    unsigned edges_ = 0;
};

} // namespace yokedock::sim
