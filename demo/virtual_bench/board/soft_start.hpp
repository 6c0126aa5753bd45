// SPDX-License-Identifier: MIT
// What lies between the bench's supply and the board's rail (docs/bench, power sheet): contact K1,
// the soft-start resistor, and the P-channel MOSFET that K2 lets take over. Its gate is pulled down
// through a large resistor against a capacitor to the drain, so the rail rises at a slope and no
// surge flows. Closing K1 while K2 already pulls the gate finds the MOSFET wide open: a direct
// connection.
#pragma once
#include "demo/virtual_bench/board/bench_relays.hpp"
#include <cmath>

namespace yokedock::sim {

class SoftStart {
  public:
    explicit SoftStart(const BoardParameters& p) { configure(p); }
    void configure(const BoardParameters& p) { p_ = p; }

    /// One step of dt_s: contacts as they stand, supply_v before the resistor when K1 is made,
    /// rail_v and rail_a behind it.
    void step(double dt_s, const Contacts& contacts, double supply_v, double rail_v, double rail_a);

    /// Resistance of the feed; infinity: K1 is open; 0: bypassed. The last tenths of an ohm (shunt,
    /// MOSFET, contacts) fade out with the gate's last volts: they are part of supply.output_ohm.
    [[nodiscard]] double ohm() const { return ohm_; }
    [[nodiscard]] double gate_v() const { return gate_v_; } ///< below the source

  private:
    BoardParameters p_;
    double gate_v_ = 0;
    double gate_to_drain_v_ = 0; ///< across the slope capacitor, drain positive
    double ohm_ = INFINITY;
};

} // namespace yokedock::sim
