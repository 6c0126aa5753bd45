// SPDX-License-Identifier: MIT
// Mains, rectifier, reservoir, regulator and rail filter, in small fixed steps; and the heat sink
// of the vertical output stage.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"

namespace yokedock::sim {

class Supply {
  public:
    explicit Supply(const BoardParameters& p);
    void configure(const BoardParameters& p) { p_ = p; }
    /// One step of dt_s (50 us or so) ending at time_s, with the stages' mean current load_a.
    void step(double time_s, double dt_s, double load_a);
    [[nodiscard]] double rail_v() const { return rail_v_; }
    [[nodiscard]] double rail_a() const {
        return rail_a_;
    } ///< out of the regulator, after the rail filter
    [[nodiscard]] double raw_v() const { return raw_v_; } ///< across the reservoir
    /// Current in the rectifier at the last step.
    [[nodiscard]] double rectifier_a() const { return rectifier_a_; }

  private:
    BoardParameters p_;
    double reservoir_v_ = 0;
    double raw_v_ = 0;
    double rail_v_ = 0;
    double rail_a_ = 0;
    double rectifier_a_ = 0;
};

class HeatSink {
  public:
    explicit HeatSink(const BoardParameters& p) : celsius_(p.thermal_start_c) { configure(p); }
    void configure(const BoardParameters& p) { p_ = p; }
    void step(double dt_s, double watts);
    [[nodiscard]] double celsius() const { return celsius_; }
    /// How far the oscillators' parts are above 25 degC.
    [[nodiscard]] double oscillator_rise_k() const;

  private:
    BoardParameters p_;
    double celsius_;
};

} // namespace yokedock::sim
