// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/vertical_oscillator.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::sim {

VerticalOscillator::VerticalOscillator(const BoardParameters& p, std::uint64_t noise_seed)
    : integrator_(p), random_(noise_seed) {
    configure(p);
    mark_v_ = lower_v_;
}

void VerticalOscillator::configure(const BoardParameters& p) {
    if (now_s_ > mark_s_ && !discharging_) {
        set_mark(now_s_); // the charge so far was made with the old values
    }
    integrator_.configure(p);
    const double charge_ohm = p.vertical_oscillator_fixed_ohm + p.vertical_oscillator_hold_ohm;
    const double leak_ohm = p.vertical_oscillator_leak_ohm;
    // Leakage and charging resistor are a divider: lower asymptote, shorter time constant.
    const double share = leak_ohm / (charge_ohm + leak_ohm);
    share_ = share;
    supply_v_ = p.vertical_oscillator_supply_v;
    upper_ratio_ = p.vertical_oscillator_upper_ratio;
    lower_ratio_ = std::min(p.vertical_oscillator_lower_ratio, 0.9 * upper_ratio_);
    set_levels();
    tau_25_s_ = charge_ohm * share * p.vertical_oscillator_capacitor_f;
    discharge_tau_25_s_ = p.vertical_oscillator_discharge_ohm * p.vertical_oscillator_capacitor_f;
    tempco_per_k_ = p.vertical_oscillator_tempco_per_k;
    noise_v_ = p.vertical_oscillator_noise_v;
    diode_v_ = p.sync_integrator_diode_v;
    inject_ratio_ = p.sync_inject_shunt_ohm / (p.sync_inject_ohm + p.sync_inject_shunt_ohm);
}

void VerticalOscillator::set_levels() {
    const double supply = std::max(0.0, supply_v_ + supply_error_v_);
    asymptote_v_ = supply * share_;
    upper_v_ = supply * upper_ratio_;
    lower_v_ = supply * lower_ratio_;
}

void VerticalOscillator::set_supply_error(double volts) {
    if (volts == supply_error_v_) {
        return;
    }
    if (now_s_ > mark_s_ && !discharging_) {
        set_mark(now_s_);
    }
    supply_error_v_ = volts;
    set_levels();
}

double VerticalOscillator::free_running_period_s() const {
    const double scale = 1 + tempco_per_k_ * rise_k_;
    if (upper_v_ >= asymptote_v_) {
        return INFINITY;
    }
    return tau_s() * std::log((asymptote_v_ - lower_v_) / (asymptote_v_ - upper_v_)) +
           scale * discharge_tau_25_s_ * std::log(upper_v_ / lower_v_);
}

double VerticalOscillator::capacitor_v(double time_s) const {
    return asymptote_v_ + (mark_v_ - asymptote_v_) * std::exp(-(time_s - mark_s_) / tau_s());
}

double VerticalOscillator::excess_v(double time_s) const {
    const double sync = std::max(0.0, integrator_.voltage(time_s) - diode_v_) * inject_ratio_;
    return capacitor_v(time_s) - (upper_v_ + noise_now_v_ - sync);
}

void VerticalOscillator::set_temperature(double rise_k) {
    if (now_s_ > mark_s_ && !discharging_) {
        set_mark(now_s_);
    }
    rise_k_ = rise_k;
}

void VerticalOscillator::set_mark(double time_s) {
    mark_v_ = capacitor_v(time_s);
    mark_s_ = time_s;
}

std::optional<VerticalOscillator::Transition> VerticalOscillator::run_until(double limit_s) {
    if (discharging_) {
        const double tau = discharge_tau_25_s_ * (1 + tempco_per_k_ * rise_k_);
        // Not before now: the lower threshold may have come up to meet the capacitor.
        const double end_s =
            std::max(now_s_, mark_s_ + tau * std::log(std::max(1.0, mark_v_ / lower_v_)));
        if (end_s > limit_s) {
            now_s_ = limit_s;
            return std::nullopt;
        }
        discharging_ = false;
        mark_s_ = now_s_ = end_s;
        mark_v_ = lower_v_;
        noise_now_v_ = noise_v_ * random_.normal();
        return Transition{end_s, false};
    }
    // Between input changes the excess either rises all the way or falls first and then rises (both
    // exponentials, the sync one faster), so a crossing shows at the interval's end.
    if (excess_v(limit_s) < 0) {
        now_s_ = limit_s;
        return std::nullopt;
    }
    double low = now_s_;
    double high = limit_s;
    for (int k = 0; k < 60 && high - low > 1e-12; ++k) {
        const double middle = 0.5 * (low + high);
        (excess_v(middle) < 0 ? low : high) = middle;
    }
    set_mark(high);
    now_s_ = high;
    discharging_ = true;
    return Transition{high, true};
}

} // namespace yokedock::sim
