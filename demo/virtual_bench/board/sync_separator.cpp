// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/sync_separator.hpp"
#include <cmath>
#include <limits>

namespace yokedock::sim {

namespace {
constexpr double kNever = std::numeric_limits<double>::infinity();
}

void SyncSeparator::configure(const BoardParameters& p) {
    peak_v_ = p.sync_amplitude_v * p.sync_gain - p.sync_base_v;
    source_ohm_ = p.sync_source_ohm;
    bleed_ohm_ = p.sync_bleed_ohm;
    coupling_f_ = p.sync_coupling_f;
    on_a_ = p.sync_on_a;
    update_output();
}

void SyncSeparator::advance(double time_s) {
    const double dt = time_s - time_s_;
    if (dt <= 0) {
        return;
    }
    time_s_ = time_s;
    if (tip_ && peak_v_ > capacitor_v_) {
        const double parallel_ohm = source_ohm_ * bleed_ohm_ / (source_ohm_ + bleed_ohm_);
        const double end_v = peak_v_ * bleed_ohm_ / (source_ohm_ + bleed_ohm_);
        capacitor_v_ =
            end_v + (capacitor_v_ - end_v) * std::exp(-dt / (parallel_ohm * coupling_f_));
    } else {
        capacitor_v_ *= std::exp(-dt / (bleed_ohm_ * coupling_f_));
    }
    if (time_s >= drop_s_) {
        on_ = false;
        drop_s_ = kNever;
    }
}

void SyncSeparator::set_tip(double time_s, bool tip) {
    advance(time_s);
    tip_ = tip;
    update_output();
}

void SyncSeparator::update_output() {
    drop_s_ = kNever;
    on_ = tip_ && (peak_v_ - capacitor_v_) / source_ohm_ > on_a_;
    if (!on_) {
        return;
    }
    const double end_v = peak_v_ * bleed_ohm_ / (source_ohm_ + bleed_ohm_);
    const double drop_v =
        peak_v_ - on_a_ * source_ohm_; // capacitor voltage at which the clipper lets go
    if (drop_v < end_v) {
        const double parallel_ohm = source_ohm_ * bleed_ohm_ / (source_ohm_ + bleed_ohm_);
        drop_s_ = time_s_ +
                  parallel_ohm * coupling_f_ * std::log((end_v - capacitor_v_) / (end_v - drop_v));
    }
}

void RcIntegrator::configure(const BoardParameters& p) {
    level_v_ = p.sync_output_v;
    tau_s_ = p.sync_integrator_ohm * p.sync_integrator_f;
}

void RcIntegrator::set_input(double time_s, bool high) {
    start_v_ = voltage(time_s);
    time_s_ = time_s;
    target_v_ = high ? level_v_ : 0;
}

double RcIntegrator::voltage(double time_s) const {
    return target_v_ + (start_v_ - target_v_) * std::exp(-(time_s - time_s_) / tau_s_);
}

double gate_width_s(const BoardParameters& p) {
    if (p.sync_output_v <= p.sync_differentiator_on_v) {
        return 0;
    }
    return p.sync_differentiator_ohm * p.sync_differentiator_f *
           std::log(p.sync_output_v / p.sync_differentiator_on_v);
}

} // namespace yokedock::sim
