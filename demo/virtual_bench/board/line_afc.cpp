// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/line_afc.hpp"
#include "demo/virtual_bench/board/sync_separator.hpp"
#include <algorithm>
#include <cmath>
#include <numbers>

namespace yokedock::sim {

namespace {
constexpr double kGateStepS = 0.5e-6; ///< the sawtooth is taken at the middle of each such step
}

LineAfc::LineAfc(const BoardParameters& p, std::uint64_t noise_seed) : random_(noise_seed) {
    configure(p);
}

void LineAfc::configure(const BoardParameters& p) {
    const double farad_volts = p.line_oscillator_capacitor_f * p.line_oscillator_swing_v;
    hz_25_ = p.line_oscillator_reference_v /
             ((p.line_oscillator_fixed_ohm + p.line_oscillator_hold_ohm) * farad_volts);
    // The capacitor stands at half its swing on the average; its leakage takes from what charges
    // it.
    hz_25_ -= p.line_oscillator_leak_s * 0.5 * p.line_oscillator_swing_v / farad_volts;
    stopped_ = p.line_oscillator_stopped >= 0.5;
    reference_v_ = p.line_oscillator_reference_v;
    hz_per_volt_ = 1 / (p.line_oscillator_control_ohm * farad_volts);
    tempco_per_k_ = p.line_oscillator_tempco_per_k;
    noise_cycles_ = p.line_oscillator_noise_v / p.line_oscillator_swing_v;
    // A half sine integrates to 2/pi of its box; the sawtooth swings half of that either way.
    shaper_scale_ =
        p.line_afc_retrace_ratio / std::numbers::pi / (p.line_afc_shaper_ohm * p.line_afc_shaper_f);
    gate_width_s_ = gate_width_s(p);
    gate_delay_s_ = p.sync_line_delay_s;
    sine_ = p.line_afc_sine >= 0.5;

    const auto make = [&](double detector_ohm) {
        const double lag = 1 / p.line_afc_lag_ohm;
        const double drive = 1 / detector_ohm;
        const double c1 = p.line_afc_filter_f;
        Flow::Matrix a{};
        a[kControl][kControl] = -(1 / p.line_afc_leak_ohm + lag + drive) / c1;
        a[kControl][kLag] = lag / c1;
        a[kControl][kSource] = drive / c1;
        a[kLag][kControl] = lag / p.line_afc_lag_f;
        a[kLag][kLag] = -lag / p.line_afc_lag_f;
        a[kPhase][kControl] = stopped_ ? 0 : hz_per_volt_;
        a[kPhase][kFreeHz] = stopped_ ? 0 : 1;
        return a;
    };
    gated_.set(make(p.line_afc_detector_ohm));
    open_.set(make(INFINITY));
}

double LineAfc::free_running_hz() const {
    return hz_25_ * (1 + tempco_per_k_ * rise_k_) * std::max(0.01, 1 + reference_error_);
}

void LineAfc::set_sync(double time_s, bool on) {
    if (on) {
        gate_begin_s_ = time_s + gate_delay_s_;
        gate_end_s_ = gate_begin_s_ + gate_width_s_;
    } else {
        gate_end_s_ = std::min(gate_end_s_, time_s + gate_delay_s_);
    }
}

void LineAfc::set_retrace(const LineRetrace& pulse) {
    // The sawtooth's return takes as long as the pulses are apart: its mean is zero behind a
    // capacitor.
    const double apart = pulse.begin_s - retrace_.begin_s;
    const double free_s = 1 / free_running_hz();
    retrace_period_s_ = apart > 0.8 * free_s && apart < 1.2 * free_s ? apart : free_s;
    retrace_ = pulse;
}

double LineAfc::detector_v(double time_s) const {
    const double width = retrace_.end_s - retrace_.begin_s;
    if (retrace_.peak_v <= 0 || width <= 0) {
        return 0;
    }
    const double period = retrace_period_s_;
    if (time_s - retrace_.end_s > 2 * period) {
        return 0; // no retrace pulses any more
    }
    const double peak = shaper_scale_ * retrace_.peak_v * width;
    if (sine_) {
        const double centre = 0.5 * (retrace_.begin_s + retrace_.end_s);
        return -peak * std::sin(2 * std::numbers::pi * (time_s - centre) / period);
    }
    if (time_s < retrace_.end_s) {
        return peak * std::cos(std::numbers::pi * (time_s - retrace_.begin_s) / width);
    }
    return std::min(peak, peak * (2 * (time_s - retrace_.end_s) / (period - width) - 1));
}

double LineAfc::cycle_end(const Flow& flow, double span_s) {
    // The rate hardly changes within a step, so the first guess is a few ns off at most.
    const double guess = (1 - state_[kPhase]) / flow.derivative(state_)[kPhase];
    double dt = std::clamp(guess, 0.0, span_s);
    state_ = flow.advance(state_, dt);
    for (int k = 0; k < 3; ++k) {
        const double correction = (1 - state_[kPhase]) / flow.derivative(state_)[kPhase];
        state_ = flow.nudge(state_, correction);
        dt += correction;
        if (std::fabs(correction) < 1e-12) {
            break;
        }
    }
    return std::clamp(dt, 0.0, span_s);
}

std::optional<double> LineAfc::run_until(double limit_s) {
    state_[kFreeHz] = free_running_hz();
    while (time_s_ < limit_s) {
        const bool gate = time_s_ >= gate_begin_s_ && time_s_ < gate_end_s_;
        double end = time_s_ < gate_begin_s_ ? std::min(limit_s, gate_begin_s_) : limit_s;
        if (gate) {
            end = std::min({limit_s, gate_end_s_, time_s_ + kGateStepS});
            state_[kSource] = detector_v(0.5 * (time_s_ + end));
        }
        const Flow& flow = gate ? gated_ : open_;
        const Flow::State next = flow.advance(state_, end - time_s_);
        if (next[kPhase] >= 1) {
            const double dt = cycle_end(flow, end - time_s_);
            state_[kPhase] = noise_cycles_ > 0 ? noise_cycles_ * random_.normal() : 0.0;
            time_s_ += dt;
            return time_s_;
        }
        state_ = next;
        time_s_ = end;
    }
    return std::nullopt;
}

} // namespace yokedock::sim
