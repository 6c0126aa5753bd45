// SPDX-License-Identifier: MIT
// Ramp generator and vertical output stage, in fixed 2 us steps re-anchored at every oscillator
// transition. Ramp: two capacitors in series charged through the height control, a follower feeding
// the ramp back to their junction (linearity control: its integral bends the ramp against the
// exponential's bow), a reset switch. Output: amplifier with current feedback, supply clipping,
// boost capacitor (about twice the supply in retrace), coupling capacitor, damping resistor, yoke
// R-L. docs/board_model.md has the equations.
#pragma once
#include "demo/virtual_bench/board/linear_flow.hpp"
#include "demo/virtual_bench/board/parameters.hpp"
#include <array>
#include <optional>

namespace yokedock::sim {

/// Two ramp capacitors and their supply. State: upper V, lower V, supply V.
class RampGenerator {
  public:
    using State = LinearFlow<2, 1>::State;
    explicit RampGenerator(const BoardParameters& p) { configure(p); }
    void configure(const BoardParameters& p);
    [[nodiscard]] const LinearFlow<2, 1>& flow(bool reset) const {
        return reset ? reset_flow_ : charge_flow_;
    }
    /// Reference for the output stage, V at the sense resistor: positive at the top of the picture.
    [[nodiscard]] double drive_v(const State& s) const;

  private:
    LinearFlow<2, 1> charge_flow_;
    LinearFlow<2, 1> reset_flow_;
    double gain_ = 0;
    double bias_v_ = 0;
    double s_level_v_ = 1;
};

class VerticalOutput {
  public:
    static constexpr double kStepS = 2e-6;

    struct Point {
        double time_s = 0;
        double yoke_a = 0; ///< out of the output node, through the yoke
        double output_v = 0;
    };

    /// What the stage took and wasted since the last call of take_account().
    struct Account {
        double seconds = 0;
        double supply_c = 0; ///< charge taken from the rail
        double dissipated_j = 0;
        double most_out_a = 0; ///< largest magnitude at the output transistors
        double most_up_a = 0;  ///< largest out of the rail, idle current included
    };

    VerticalOutput(const BoardParameters& p, double rail_v);
    void configure(const BoardParameters& p);
    void set_rail(double rail_v);
    /// The IC does nothing (any more): output at ground level, nothing flows.
    void set_dead(bool dead) { dead_ = dead; }

    /// Oscillator transition: the stage is run exactly up to time_s, then the ramp is reset or
    /// released.
    void set_reset(double time_s, bool reset);
    /// Makes all whole steps that end by time_s. At most one step (2 us) is left undone.
    void run_until(double time_s);
    /// Takes the oldest comparator crossing not yet taken (time without delay), if any.
    struct Crossing {
        double time_s;
        bool rising;
    };
    [[nodiscard]] std::optional<Crossing> take_crossing();
    [[nodiscard]] Account take_account();
    /// At any time within the last 200 us; beyond the last step it looks ahead with things as they
    /// are.
    [[nodiscard]] Point at(double time_s) const;
    [[nodiscard]] double coupling_v() const { return state_.coupling_v; }
    [[nodiscard]] double boost_v() const { return state_.boost_v; }

  private:
    struct State {
        RampGenerator::State ramp{};
        double drive_v = 0; ///< ramp_.drive_v(ramp)
        double coupling_v = 0;
        double boost_v = 0;
        double out_a = 0;      ///< out of the transistors over the last step: yoke and damping
        double short_flux = 0; ///< linked by the shorted turns, V s
        Point point;
    };
    struct Coefficients { ///< of one step length
        double dt_s;
        double linear;
        double clipped;
        double boost;
    };
    struct Source {
        double emf_v;
        double ohm;
        double decay;  ///< of the yoke current over the step
        double loop_s; ///< yoke current per volt between emf and coupling capacitor, settled
    };
    [[nodiscard]] Coefficients coefficients(double dt_s) const;
    void configure_coil();
    [[nodiscard]] double feed_drop_v() const;
    [[nodiscard]] double short_v(const State& s) const;
    [[nodiscard]] Source source(const State& s, const Coefficients& c, double drive_v) const;
    void move_boost(State& s, const Coefficients& c, double out_a, bool boosting,
                    Account* account) const;
    void step(State& s, const Coefficients& c, bool whole, Account* account) const;
    void step_dead(State& s, const Coefficients& c, bool whole, Account* account) const;
    void commit(const Point& before);

    RampGenerator ramp_;
    BoardParameters p_;
    double rail_v_ = 0;
    // Derived once: see configure().
    double share_ = 0;      ///< sense / (sense + damping)
    double yoke_share_ = 1; ///< damping / (sense + damping)
    double stiffness_ohm_ = 0;
    double alpha_scale_ = 1;
    double sense_ohm_ = 1;
    double linear_s_ = 1;  ///< yoke_share / all resistance in the loop, amplifier in control
    double clipped_s_ = 1; ///< the same while it is against a rail
    double shunt_s_ = 1;   ///< 1 / (sense + damping)
    // The coil's turns as the circuit meets them; those shorted lie beside it (both 0: none are).
    double coil_h_ = 1;         ///< for changes too fast for the shorted turns
    double coil_ohm_ = 0;       ///< with plug
    double short_mutual_h_ = 0; ///< between the two
    double short_h_ = 1;
    double short_decay_s_ = 0; ///< resistance / inductance of the shorted turns
    Coefficients whole_{};
    bool reset_ = false;
    bool dead_ = false;
    double lift_share_ = 1; ///< of the boost's lift: a starved IC cannot switch it
    State state_;
    Account account_;
    std::array<Point, 128> history_{};
    std::size_t newest_ = 0;
    std::array<Crossing, 8> crossings_{};
    std::size_t crossing_count_ = 0;
    bool comparator_high_ = false;
};

} // namespace yokedock::sim
