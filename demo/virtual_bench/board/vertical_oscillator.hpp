// SPDX-License-Identifier: MIT
// Vertical oscillator: a relaxation oscillator. A capacitor charges through the hold control
// towards the supply; at the upper threshold it is discharged to the lower one. Integrated sync
// lowers the upper threshold, so sync can only make a period shorter: locks lie above the
// free-running rate.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include "demo/virtual_bench/board/random.hpp"
#include "demo/virtual_bench/board/sync_separator.hpp"
#include <optional>

namespace yokedock::sim {

class VerticalOscillator {
  public:
    struct Transition {
        double time_s;
        bool discharging; ///< true: the threshold was reached, retrace begins
    };

    VerticalOscillator(const BoardParameters& p, std::uint64_t noise_seed);
    void configure(const BoardParameters& p);

    /// The separator's output changes. Run up to time_s first.
    void set_sync(double time_s, bool on) { integrator_.set_input(time_s, on); }
    /// Temperature of the timing parts above 25 degC; from now on.
    void set_temperature(double rise_k);
    /// Supply above (or below) its nominal value, from now on: ripple and droop that the stabiliser
    /// lets through. Asymptote and thresholds follow alike, so only what changes within a period
    /// moves it.
    void set_supply_error(double volts);
    /// The first transition after the last one returned, up to limit_s; nothing when there is none.
    [[nodiscard]] std::optional<Transition> run_until(double limit_s);
    /// Period without sync and noise, at the present temperature.
    [[nodiscard]] double free_running_period_s() const;
    [[nodiscard]] double sync_v(double time_s) const { return integrator_.voltage(time_s); }

  private:
    [[nodiscard]] double tau_s() const { return tau_25_s_ * (1 + tempco_per_k_ * rise_k_); }
    [[nodiscard]] double capacitor_v(double time_s) const;
    [[nodiscard]] double
    excess_v(double time_s) const; ///< capacitor above the threshold as sync lowers it
    void set_mark(double time_s);
    void set_levels();

    RcIntegrator integrator_;
    Random random_;
    double supply_v_ = 0;
    double supply_error_v_ = 0;
    double share_ = 1; ///< of the supply that charges, leakage taken off
    double upper_ratio_ = 0;
    double lower_ratio_ = 0;
    double asymptote_v_ = 0;
    double upper_v_ = 0;
    double lower_v_ = 0;
    double tau_25_s_ = 1;
    double discharge_tau_25_s_ = 1;
    double tempco_per_k_ = 0;
    double noise_v_ = 0;
    double diode_v_ = 0;
    double inject_ratio_ = 0;
    double rise_k_ = 0;
    double now_s_ = 0;
    double mark_s_ = 0; ///< capacitor voltage is known here
    double mark_v_ = 0;
    double noise_now_v_ = 0;
    bool discharging_ = false;
};

} // namespace yokedock::sim
