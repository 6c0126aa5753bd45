// SPDX-License-Identifier: MIT
// Mains, rectifier, reservoir, regulator and rail filter, in small fixed steps; and the heat sink
// of the vertical output stage.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"

namespace yokedock::sim {

/// What draws from the rail besides the rest of the board.
struct RailLoad {
    double stages_a = 0; ///< mean current of the stages over the step
    double clamp_s = 0;  ///< conductance that conducts above clamp_v: an IC reversed or destroyed
    double clamp_v = 0;
};

class Supply {
  public:
    explicit Supply(const BoardParameters& p);
    void configure(const BoardParameters& p) { p_ = p; }
    /// The rail is empty; the regulator's side stands as it is.
    void empty_rail() { rail_v_ = capacitor_v_ = rail_a_ = 0; }
    /// One step of dt_s (50 us or so) ending at time_s, with the stages' mean current load_a. The
    /// regulator takes no current back: when it lets go, the decoupling capacitor feeds the stages.
    void step(double time_s, double dt_s, double load_a);
    /// The same with feed_ohm between regulator and rail (infinity: open): the rail filter's
    /// capacitor is charged through it, exact over the step for constant loads. A step of any
    /// length; use microseconds after a change. With 0 ohm it settles where step() does.
    void step_fed(double time_s, double dt_s, const RailLoad& load, double feed_ohm);
    /// Out of the regulator, before the feed and without load.
    [[nodiscard]] double source_v() const;
    /// Current into RailLoad's clamp at the end of the last step_fed().
    [[nodiscard]] double clamp_a() const { return clamp_a_; }
    /// What rail_a() is on its way to.
    [[nodiscard]] double wanted_a() const { return wanted_a_; }
    [[nodiscard]] double rail_v() const { return rail_v_; }
    /// Behind the rail filter's resistance: what the stages live on.
    [[nodiscard]] double stage_v() const { return capacitor_v_; }
    [[nodiscard]] double rail_a() const {
        return rail_a_;
    } ///< out of the regulator, after the rail filter
    [[nodiscard]] double raw_v() const { return raw_v_; } ///< across the reservoir
    /// Current in the rectifier at the last step.
    [[nodiscard]] double rectifier_a() const { return rectifier_a_; }

  private:
    void step_reservoir(double time_s, double dt_s, double drawn_a);

    BoardParameters p_;
    double capacitor_v_ = 0; ///< of the rail filter
    double wanted_a_ = 0;
    double clamp_a_ = 0;
    double reservoir_v_ = 0;
    double raw_v_ = 0;
    double rail_v_ = 0;
    double rail_a_ = 0;
    double rectifier_a_ = 0;
};

class HeatSink {
  public:
    explicit HeatSink(const BoardParameters& p)
        : celsius_(p.thermal_start_c), case_c_(p.thermal_start_c) {
        configure(p);
    }
    void configure(const BoardParameters& p) { p_ = p; }
    void step(double dt_s, double watts);
    [[nodiscard]] double celsius() const { return celsius_; }
    /// Case of the vertical output IC: the sink's temperature unless its joint is bad.
    [[nodiscard]] double case_c() const { return case_c_; }
    /// How far the oscillators' parts are above 25 degC.
    [[nodiscard]] double oscillator_rise_k() const;

  private:
    BoardParameters p_;
    double celsius_;
    double case_c_;
};

} // namespace yokedock::sim
