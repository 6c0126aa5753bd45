// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/fault_tables.hpp"

namespace yokedock::sim::tables {

namespace {

using P = BoardParameters;

constexpr Fault kSupplyAndSync[] = {
    {"supply_high",
     "supply",
     "regulator set too high, or passing through: rail up",
     {scale(&P::supply_regulated_v, 1.03, 1.25)}},
    {"supply_low",
     "supply",
     "mains tap wrong or mains low: the regulator drops out",
     {scale(&P::supply_mains_v, 0.82, 0.6)}},
    {"reservoir_dried",
     "supply",
     "reservoir capacitor dried: value lost, series resistance up",
     {scale(&P::supply_reservoir_f, 0.6, 0.02), add(&P::supply_reservoir_esr_ohm, 0.1, 5)}},
    {"rectifier_open",
     "supply",
     "one branch of the rectifier open: half-wave",
     {add(&P::supply_branch_ohm, 2, 1e6)}},
    {"rail_resistance",
     "supply",
     "filter resistor, fuse or joint in the rail high",
     {add(&P::supply_joint_ohm, 0.5, 15)}},
    {"decoupling_dried",
     "supply",
     "rail decoupling capacitor dried",
     {scale(&P::supply_decoupling_f, 0.5, 2e-3)}},

    {"sync_weak",
     "sync",
     "sync amplifier's gain low, its clipper not fully driven",
     {scale(&P::sync_gain, 0.7, 0.24), scale(&P::sync_output_v, 0.85, 0.45)}},
    {"sync_coupling_dried",
     "sync",
     "coupling capacitor of the sync clipper low",
     {scale(&P::sync_coupling_f, 0.3, 3e-4)}},
    {"sync_integrator_open",
     "sync",
     "path to the vertical integrator open: no vertical sync",
     {add(&P::sync_integrator_ohm, 15e3, 5e8)}},
    {"sync_differentiator_open",
     "sync",
     "line differentiator capacitor open: no line sync",
     {scale(&P::sync_differentiator_f, 0.6, 1e-4)}},
};

} // namespace

std::span<const Fault> supply_and_sync() {
    return kSupplyAndSync;
}

} // namespace yokedock::sim::tables
