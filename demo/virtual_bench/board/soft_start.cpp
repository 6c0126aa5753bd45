// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/soft_start.hpp"
#include <algorithm>

namespace yokedock::sim {

namespace {
constexpr double kGateZenerV = 12;
constexpr double kBodyDiodeV = 0.6;
// Gate voltages, in thresholds, between which the rest of the feed fades out: 8 V and 11 V as
// drawn.
constexpr double kFadeBegin = 2;
constexpr double kFadeEnd = 2.75;
constexpr double kSmallDropV = 0.3; ///< nor does it fade while so much or more is left across it
constexpr double kLargeDropV = 1;
constexpr double kLeastV = 1e-6;

/// Square law of a MOSFET (SPICE level 1), as a conductance.
double channel_s(double gain, double over_v, double drop_v) {
    if (over_v <= 0) {
        return 0;
    }
    return drop_v < over_v ? gain * (over_v - 0.5 * drop_v) : 0.5 * gain * over_v * over_v / drop_v;
}
} // namespace

void SoftStart::step(double dt_s, const Contacts& contacts, double supply_v, double rail_v,
                     double rail_a) {
    const double top_v = contacts.k1 ? supply_v : std::max(0.0, rail_v - kBodyDiodeV);
    const double drain_v = rail_v + p_.bench_shunt_ohm * rail_a;
    const double drop_v = std::max(top_v - drain_v, kLeastV);
    if (!contacts.k2) { // gate at the source
        gate_v_ = 0;
        gate_to_drain_v_ = -drop_v;
    } else {
        const double slope_s = p_.bench_bypass_gate_ohm * p_.bench_bypass_gate_f;
        gate_to_drain_v_ += (top_v - gate_v_) * dt_s / slope_s;
        gate_to_drain_v_ = std::min(gate_to_drain_v_, kGateZenerV - drop_v);
        gate_v_ = std::clamp(gate_to_drain_v_ + drop_v, 0.0, kGateZenerV);
    }
    if (!contacts.k1) {
        ohm_ = INFINITY;
        return;
    }
    const double threshold_v = p_.bench_bypass_threshold_v;
    const double fet_s = channel_s(p_.bench_bypass_gain, gate_v_ - threshold_v, drop_v);
    const double by_gate =
        (kFadeEnd * threshold_v - gate_v_) / ((kFadeEnd - kFadeBegin) * threshold_v);
    const double by_drop = (drop_v - kSmallDropV) / (kLargeDropV - kSmallDropV);
    const double rest = std::clamp(std::max(by_gate, by_drop), 0.0, 1.0);
    ohm_ = rest * (1 / (1 / p_.bench_soft_start_ohm + fet_s) + p_.bench_shunt_ohm);
}

} // namespace yokedock::sim
