// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/supply.hpp"
#include <algorithm>
#include <cmath>
#include <numbers>

namespace yokedock::sim {

Supply::Supply(const BoardParameters& p) : p_(p) {
    // Start where a lightly loaded supply stands, so that only the load's settling is left.
    const double peak_v = std::numbers::sqrt2 * p.supply_mains_v * p.supply_transformer_ratio;
    reservoir_v_ = raw_v_ = std::max(0.0, peak_v - 2 * p.supply_rectifier_v);
    rail_v_ = std::clamp(raw_v_ - p.supply_dropout_v, 0.0, p.supply_regulated_v);
    rail_a_ = rail_v_ / p.supply_other_load_ohm;
}

void Supply::step(double time_s, double dt_s, double load_a) {
    step_fed(time_s, dt_s, {load_a, 0, 0}, 0);
}

void Supply::step_fed(double time_s, double dt_s, const RailLoad& load, double feed_ohm) {
    // Node of the capacitor: C v' = (source - v) / path - stages - v / rest - clamp. The regulator
    // takes no current back.
    const double path_ohm = p_.supply_output_ohm + feed_ohm + p_.supply_filter_ohm;
    const double from_v = source_v();
    const double path_s = from_v > capacitor_v_ ? 1 / path_ohm : 0;
    const double rest_s = 1 / p_.supply_other_load_ohm;
    const double clamp_s = capacitor_v_ > load.clamp_v ? load.clamp_s : 0;
    const double all_s = path_s + rest_s + clamp_s;
    const double aim_v = (from_v * path_s - load.stages_a + clamp_s * load.clamp_v) / all_s;
    const double before_v = capacitor_v_;
    const double decay = std::exp(-dt_s * all_s / p_.supply_decoupling_f);
    capacitor_v_ = std::max(0.0, aim_v + (before_v - aim_v) * decay);

    rail_a_ = path_s > 0 ? std::max(0.0, (from_v - capacitor_v_) * path_s) : 0;
    clamp_a_ = clamp_s * std::max(0.0, capacitor_v_ - load.clamp_v);
    wanted_a_ = path_s > 0 ? std::max(0.0, (from_v - aim_v) * path_s) : 0;
    const double mean_v =
        aim_v + (before_v - aim_v) * (1 - decay) * p_.supply_decoupling_f / (dt_s * all_s);
    const double mean_a = path_s > 0 ? std::max(0.0, (from_v - mean_v) * path_s) : 0;
    step_reservoir(time_s, dt_s, mean_a);
    rail_v_ = capacitor_v_ + p_.supply_filter_ohm * rail_a_;
}

double Supply::source_v() const {
    const double regulated_v =
        p_.supply_regulated_v +
        (raw_v_ - p_.supply_regulated_v - p_.supply_dropout_v) / p_.supply_rejection;
    return std::min(regulated_v, raw_v_ - p_.supply_dropout_v);
}

/// Rectifier on: source resistance and ESR in series to the reservoir; exact over the step.
void Supply::step_reservoir(double time_s, double dt_s, double drawn_a) {
    const double phase =
        2 * std::numbers::pi * (p_.supply_mains_hz * (time_s - 0.5 * dt_s) + p_.supply_mains_phase);
    const double wave = std::sin(phase);
    const double secondary_v =
        std::fabs(std::numbers::sqrt2 * p_.supply_mains_v * p_.supply_transformer_ratio * wave);
    const double esr = p_.supply_reservoir_esr_ohm;
    const double branch_ohm = wave < 0 ? p_.supply_branch_ohm : 0; // the other branch is whole
    const double loop_ohm = p_.supply_source_ohm + branch_ohm + esr;
    const double open_v = secondary_v - 2 * p_.supply_rectifier_v + esr * drawn_a;
    if (open_v > reservoir_v_) {
        // At rest in this step the rectifier carries the load: the capacitor aims that much lower.
        const double aim_v = open_v - drawn_a * loop_ohm;
        const double decay = std::exp(-dt_s / (loop_ohm * p_.supply_reservoir_f));
        const double before_v = reservoir_v_;
        reservoir_v_ = aim_v + (reservoir_v_ - aim_v) * decay;
        rectifier_a_ =
            std::max(0.0, drawn_a + p_.supply_reservoir_f * (reservoir_v_ - before_v) / dt_s);
    } else {
        rectifier_a_ = 0;
        reservoir_v_ -= drawn_a * dt_s / p_.supply_reservoir_f;
    }
    reservoir_v_ = std::max(0.0, reservoir_v_);
    raw_v_ = std::max(0.0, reservoir_v_ + esr * (rectifier_a_ - drawn_a));
}

void HeatSink::step(double dt_s, double watts) {
    dt_s *= p_.thermal_pace;
    const double joint_s = p_.thermal_joint_k_per_w > 0 ? 1 / p_.thermal_joint_k_per_w : 0;
    if (joint_s > 0) { // the case on its own: to the sink through the joint, and to the air
        const double all_s = joint_s + 1 / p_.thermal_case_air_k_per_w;
        const double end_c =
            (watts + joint_s * celsius_ + p_.thermal_ambient_c / p_.thermal_case_air_k_per_w) /
            all_s;
        case_c_ = end_c + (case_c_ - end_c) * std::exp(-dt_s * all_s / p_.thermal_case_j_per_k);
        watts = (case_c_ - celsius_) * joint_s;
    }
    const double end_c = p_.thermal_ambient_c + watts * p_.thermal_resistance_k_per_w;
    celsius_ =
        end_c + (celsius_ - end_c) *
                    std::exp(-dt_s / (p_.thermal_resistance_k_per_w * p_.thermal_capacity_j_per_k));
    if (joint_s <= 0) {
        case_c_ = celsius_;
    }
}

double HeatSink::oscillator_rise_k() const {
    return p_.thermal_ambient_c - 25 +
           p_.thermal_oscillator_share * (celsius_ - p_.thermal_ambient_c);
}

} // namespace yokedock::sim
