// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/fault_tables.hpp"

namespace yokedock::sim::tables {

namespace {

using P = BoardParameters;

constexpr Fault kVertical[] = {
    {"v_timing_resistor_high",
     "vertical oscillator",
     "timing resistor drifted up",
     {scale(&P::vertical_oscillator_fixed_ohm, 1.05, 3)}},
    {"v_timing_cap_low",
     "vertical oscillator",
     "timing capacitor low",
     {scale(&P::vertical_oscillator_capacitor_f, 0.93, 0.3)}},
    {"v_timing_cap_leaky",
     "vertical oscillator",
     "timing capacitor leaky: slow, at worst stopped",
     {parallel(&P::vertical_oscillator_leak_ohm, 3e6, 100e3)}},
    {"v_oscillator_dead",
     "vertical oscillator",
     "charging path open: no oscillation",
     {add(&P::vertical_oscillator_fixed_ohm, 1e8, 9e8)}},
    {"v_warm_drift",
     "vertical oscillator",
     "rate rises as the board warms up",
     {add(&P::vertical_oscillator_tempco_per_k, -2e-3, -15e-3)}},

    {"ramp_cap_low", "ramp", "upper ramp capacitor low", {scale(&P::ramp_upper_f, 0.85, 0.3)}},
    {"ramp_cap_leaky", "ramp", "ramp capacitors leaky", {parallel(&P::ramp_leak_ohm, 5e6, 150e3)}},
    {"ramp_resistor_high",
     "ramp",
     "charging resistor drifted up",
     {scale(&P::ramp_fixed_ohm, 1.1, 4)}},
    {"linearity_open", "ramp", "linearity control open", {add(&P::ramp_linearity_ohm, 10e3, 1e9)}},
    {"ramp_cap_swapped",
     "ramp",
     "ramp capacitors of other values fitted: upper large, lower small",
     {scale(&P::ramp_upper_f, 1.3, 3.3), scale(&P::ramp_lower_f, 0.77, 0.3)},
     std::nullopt,
     true},

    {"v_coupling_dried",
     "vertical output",
     "output coupling capacitor dried",
     {scale(&P::vertical_output_coupling_f, 0.7, 0.03),
      add(&P::vertical_output_coupling_esr_ohm, 0.2, 5)}},
    {"v_coupling_leaky",
     "vertical output",
     "output coupling capacitor leaky",
     {parallel(&P::vertical_output_coupling_leak_ohm, 2e3, 40)}},
    {"v_crossover",
     "vertical output",
     "bias between the output transistors missing",
     {add(&P::vertical_output_crossover_v, 0.3, 3)}},
    {"v_sense_high",
     "vertical output",
     "current sense resistor drifted up",
     {scale(&P::vertical_output_sense_ohm, 1.1, 3)}},
    {"v_output_dead",
     "vertical output",
     "output IC gives nothing out, and is no short",
     {set(&P::vertical_ic_dead, 1)}},
    {"v_damping_open",
     "vertical output",
     "damping resistor across the yoke open",
     {scale(&P::vertical_output_damping_ohm, 2, 1e5)}},
    {"ic_fails_warm",
     "vertical output",
     "output IC loses its drive as it warms up",
     {scale(&P::vertical_output_gain, 0.5, 0.01), add(&P::vertical_output_saturation_ohm, 2, 60)},
     FaultHeat{44, 56}},
    {"v_ic_reversed",
     "vertical output",
     "output IC fitted the wrong way round",
     {set(&P::vertical_ic_reversed, 1)},
     std::nullopt,
     true},

    {"boost_cap_open",
     "boost",
     "boost capacitor dried, at worst open",
     {scale(&P::vertical_output_boost_f, 0.3, 1e-3)}},
    {"boost_path_dead",
     "boost",
     "boost diode open: the boost capacitor gets no charge",
     {add(&P::vertical_output_boost_charge_ohm, 100, 1e9)}},
    {"boost_cap_wrong_value",
     "boost",
     "boost capacitor of about a tenth of the value fitted",
     {scale(&P::vertical_output_boost_f, 0.33, 0.047)},
     std::nullopt,
     true},

    {"v_yoke_shorted",
     "vertical yoke",
     "part of the vertical coil's turns shorted",
     {add(&P::vertical_yoke_shorted_share, 0.05, 0.5)}},
    {"v_yoke_open",
     "vertical yoke",
     "vertical coil open, or its plug off",
     {add(&P::vertical_yoke_plug_ohm, 5, 1e12)}},
};

} // namespace

std::span<const Fault> vertical() {
    return kVertical;
}

} // namespace yokedock::sim::tables
