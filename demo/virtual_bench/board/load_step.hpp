// SPDX-License-Identifier: MIT
// The bench's load step (docs/bench, sheets load and step): a load that is not on the board hangs
// on the step drive, 12 V through K5, a MOSFET and 10 ohm, with a diode that lets the current run
// on when the MOSFET opens. The load is a coil of resistance R and inductance L, of whose turns a
// share x may be bridged by a short: (1-x) R, (1-x)^2 L in the circuit, x R, x^2 L shorted beside
// them, mutual inductance k x (1-x) L. Every instant is closed form from the last switching.
#pragma once
#include <array>
#include <cstddef>

namespace yokedock::sim {

struct Coil {
    double ohm = 1;
    double henry = 1e-3;
    double shorted_share = 0;
    double coupling = 0;
};

struct StepDrive {
    double volts = 12;      ///< behind the switch
    double on_ohm = 10;     ///< switch on: everything in the circuit but the coil
    double off_ohm = 0.1;   ///< the same through the diode
    double diode_v = 0.35;  ///< of the diode
    double series_ohm = 10; ///< between switch and load's terminal, for terminal_v
};

class LoadStep {
  public:
    LoadStep(const Coil& coil, const StepDrive& drive);
    /// New values; what flows is dropped. From time_s on.
    void configure(const Coil& coil, const StepDrive& drive, double time_s);

    enum class State { kAway, kOff, kOn }; ///< load on the board; here and not driven; driven
    /// From time_s on. Never before the last change: an earlier time counts as that one's.
    void set(double time_s, State state);

    /// At an instant not before the 16 last changes.
    [[nodiscard]] double current_a(double time_s) const;
    [[nodiscard]] double terminal_v(double time_s) const;
    [[nodiscard]] State state() const { return history_[newest_].state; }

  private:
    struct Currents {
        double coil_a = 0;
        double ring_a = 0; ///< in the shorted turns
    };
    struct Segment {
        double begin_s = 0;
        State state = State::kAway;
        Currents at_begin;
        double coil_dead_s = 0; ///< after begin: the diode lets go here (kOff)
        Currents at_dead;
    };
    [[nodiscard]] Currents evolve(const Currents& from, double volts, double loop_ohm,
                                  double dt_s) const;
    [[nodiscard]] Currents coasting(const Currents& from, double dt_s) const;
    [[nodiscard]] Currents at(const Segment& segment, double time_s) const;
    [[nodiscard]] const Segment& segment_at(double time_s) const;
    void begin(double time_s, State state, const Currents& from);

    Coil coil_;
    StepDrive drive_;
    std::array<Segment, 16> history_{};
    std::size_t newest_ = 0;
};

} // namespace yokedock::sim
