// SPDX-License-Identifier: MIT
// Line oscillator with its frequency control: sync gates a sawtooth made from the retrace pulse
// onto the loop filter (a capacitor, and a resistor with capacitor in series), whose voltage moves
// the current-controlled oscillator. A pulse in mid-line meets the sawtooth near zero, as on a real
// board, so equalising pulses hardly disturb.
#pragma once
#include "demo/virtual_bench/board/linear_flow.hpp"
#include "demo/virtual_bench/board/parameters.hpp"
#include "demo/virtual_bench/board/random.hpp"
#include <optional>

namespace yokedock::sim {

/// A line retrace pulse as the detector's shaper sees it.
struct LineRetrace {
    double begin_s = -1;
    double end_s = -1;
    double peak_v = 0;
};

class LineAfc {
  public:
    LineAfc(const BoardParameters& p, std::uint64_t noise_seed);
    void configure(const BoardParameters& p);

    /// Separator output changes (run up to time_s first). A leading edge opens the gate a fixed
    /// delay later, for at most the differentiator's time; a trailing edge closes it after the same
    /// delay.
    void set_sync(double time_s, bool on);
    /// A retrace pulse begins; its end and peak are already known to the caller.
    void set_retrace(const LineRetrace& pulse);
    void set_temperature(double rise_k) { rise_k_ = rise_k; }
    /// Charging reference above (or below) its nominal value, from now on.
    void set_reference_error(double volts) { reference_error_ = volts / reference_v_; }

    /// Runs up to limit_s; returns the first end of an oscillator cycle on the way and stands
    /// there.
    [[nodiscard]] std::optional<double> run_until(double limit_s);

    [[nodiscard]] double free_running_hz() const;
    [[nodiscard]] double control_v() const { return state_[kControl]; }
    [[nodiscard]] double hz_per_volt() const { return hz_per_volt_; }
    /// Detector output at an instant, V: its average over the gate, times the filter's load, times
    /// hz_per_volt, is the pull on the rate.
    [[nodiscard]] double detector_v(double time_s) const;

  private:
    enum Index { kControl, kLag, kPhase, kFreeHz, kSource };
    using Flow = LinearFlow<3, 2>;
    /// Moves the state to the end of the cycle, known to lie within span_s; returns the time moved.
    double cycle_end(const Flow& flow, double span_s);

    Flow gated_;
    Flow open_;
    Random random_;
    double hz_25_ = 0;
    double hz_per_volt_ = 0;
    double reference_v_ = 1;
    double reference_error_ = 0; ///< relative
    double tempco_per_k_ = 0;
    double noise_cycles_ = 0; ///< rms phase noise per cycle
    double shaper_scale_ = 0; ///< sawtooth peak V per (V of pulse x s of width)
    double gate_width_s_ = 0;
    bool sine_ = false;
    bool stopped_ = false;
    double rise_k_ = 0;
    double time_s_ = 0;
    double gate_delay_s_ = 0;
    double gate_begin_s_ = 0;
    double gate_end_s_ = 0;
    LineRetrace retrace_;
    double retrace_period_s_ = 0;
    Flow::State state_{};
};

} // namespace yokedock::sim
