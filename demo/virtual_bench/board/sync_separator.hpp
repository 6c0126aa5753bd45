// SPDX-License-Identifier: MIT
// Sync separator: a clipper behind a coupling capacitor. The sync tip charges the capacitor through
// the base of the clipper, the bleed resistor discharges it all the time; the clipper is on while
// base current exceeds what it needs. Weak sync never reaches the base; sync that is too wide
// leaves no base current on average.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"

namespace yokedock::sim {

class SyncSeparator {
  public:
    explicit SyncSeparator(const BoardParameters& p) { configure(p); }
    void configure(const BoardParameters& p);

    /// Composite sync changes; time_s is not before the last call's.
    void set_tip(double time_s, bool tip);
    /// The capacitor's charge and the clipper's state at time_s, with sync as it is.
    void advance(double time_s);
    /// The clipper passes sync. Changes only in set_tip and at next_drop_s().
    [[nodiscard]] bool on() const { return on_; }
    /// When the clipper, now on, will let go by itself (base current used up); infinity if never.
    [[nodiscard]] double next_drop_s() const { return drop_s_; }
    [[nodiscard]] double capacitor_v() const { return capacitor_v_; }

  private:
    void update_output();

    double peak_v_ = 0; ///< sync tip less the base-emitter voltage
    double source_ohm_ = 1;
    double bleed_ohm_ = 1;
    double coupling_f_ = 1;
    double on_a_ = 0;
    double time_s_ = 0;
    double capacitor_v_ = 0;
    double drop_s_ = 0;
    bool tip_ = false;
    bool on_ = false;
};

/// One RC section between two levels: the vertical integrator.
class RcIntegrator {
  public:
    explicit RcIntegrator(const BoardParameters& p) { configure(p); }
    void configure(const BoardParameters& p);
    void set_input(double time_s, bool high);
    [[nodiscard]] double voltage(double time_s) const;

  private:
    double level_v_ = 0;
    double tau_s_ = 1;
    double time_s_ = 0;
    double start_v_ = 0;
    double target_v_ = 0;
};

/// How long the line differentiator keeps the phase detector's gate open after a leading edge (a
/// shorter sync pulse closes it earlier): R C ln(step / level).
[[nodiscard]] double gate_width_s(const BoardParameters& p);

} // namespace yokedock::sim
