// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/vertical_ic.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::sim {

namespace {

constexpr double kHysteresisK = 15; ///< of the protection

std::string cause(IcLimit limit) {
    switch (limit) {
    case IcLimit::kJunction:
        return "too hot";
    case IcLimit::kOutputCurrent:
        return "too much current at the output";
    case IcLimit::kSupplyCurrent:
        return "too much current through its supply pins";
    case IcLimit::kSupplyVoltage:
        return "supply voltage too high";
    case IcLimit::kNone:
        break;
    }
    return "nothing";
}

} // namespace

std::string describe(const IcStress& s) {
    const std::string fate = s.died_of == IcLimit::kNone ? "survived"
                                                         : fmt::format("DESTROYED ({}) at {:.6f} s",
                                                                       cause(s.died_of), s.died_s);
    return fmt::format(
        "{}, hottest {:.0f} degC, most {:.2f} A at the output, {:.2f} A and {:.1f} V at "
        "the supply",
        fate, s.hottest_c, s.most_output_a, s.most_supply_a, s.most_supply_v);
}

void VerticalIc::step(double time_s, double dt_s, const Load& load) {
    if (destroyed()) {
        return; // the figures are those of its death
    }
    const double k_per_w = p_.vertical_ic_junction_k_per_w;
    const double end_c = load.sink_c + load.watts * k_per_w;
    junction_c_ = end_c + (junction_c_ - end_c) *
                              std::exp(-dt_s / (k_per_w * p_.vertical_ic_junction_j_per_k));
    muted_ = junction_c_ > p_.vertical_ic_shutdown_c - (muted_ ? kHysteresisK : 0);
    stress_.hottest_c = std::max(stress_.hottest_c, junction_c_);
    stress_.most_output_a = std::max(stress_.most_output_a, load.output_a);
    stress_.most_supply_a = std::max(stress_.most_supply_a, load.supply_a);
    stress_.most_supply_v = std::max(stress_.most_supply_v, load.supply_v);
    const auto die = [&](bool exceeded, IcLimit limit) {
        if (exceeded && !destroyed()) {
            stress_.died_of = limit;
            stress_.died_s = time_s;
        }
    };
    die(load.supply_a > p_.vertical_ic_max_supply_a, IcLimit::kSupplyCurrent);
    die(load.output_a > p_.vertical_ic_max_output_a, IcLimit::kOutputCurrent);
    die(load.supply_v > p_.vertical_ic_max_supply_v, IcLimit::kSupplyVoltage);
    die(junction_c_ > p_.vertical_ic_max_junction_c, IcLimit::kJunction);
}

} // namespace yokedock::sim
