// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/fault_tables.hpp"

namespace yokedock::sim::tables {

namespace {

using P = BoardParameters;

constexpr Fault kLine[] = {
    {"afc_open",
     "line AFC",
     "detector or control path open",
     {add(&P::line_afc_detector_ohm, 5e3, 1e9)}},
    {"afc_filter_open",
     "line AFC",
     "lag branch of the loop filter open",
     {add(&P::line_afc_lag_ohm, 30e3, 5e8)}},
    {"afc_pulse_missing",
     "line AFC",
     "retrace feedback pulse missing, or its shaper open",
     {scale(&P::line_afc_retrace_ratio, 0.6, 1e-4)}},

    {"h_timing_off",
     "line oscillator",
     "timing capacitor drifted up: slow",
     {scale(&P::line_oscillator_capacitor_f, 1.015, 1.15)}},
    {"h_timing_cap_leaky",
     "line oscillator",
     "timing capacitor leaky: slow, slower when warm",
     {add(&P::line_oscillator_leak_s, 0.7e-6, 12e-6),
      add(&P::line_oscillator_tempco_per_k, -2e-4, -3e-3)}},
    {"h_oscillator_dead",
     "line oscillator",
     "no oscillation",
     {set(&P::line_oscillator_stopped, 1)}},

    {"h_drive_short",
     "line driver",
     "drive too short: the output transistor comes on late",
     {scale(&P::line_drive_on_phase, 1.2, 2.1)}},
    {"h_drive_dead",
     "line driver",
     "no drive to the output transistor",
     {set(&P::line_drive_dead, 1)}},

    {"h_retrace_cap_low",
     "line output",
     "retrace capacitor low, or one of two open",
     {scale(&P::line_output_retrace_f, 0.85, 0.3)}},
    {"h_retrace_cap_high",
     "line output",
     "retrace capacitor of too high a value",
     {scale(&P::line_output_retrace_f, 1.15, 2.2)}},
    {"h_s_cap_low", "line output", "S-capacitor low", {scale(&P::line_output_s_f, 0.75, 0.15)}},
    {"h_damper_open",
     "line output",
     "damper open: what conducts in its place does so late and badly (assumed 30 V, 3 ohm at "
     "worst)",
     {add(&P::line_output_damper_v, 0.5, 8), add(&P::line_output_damper_ohm, 0.3, 4)}},
    {"h_joint_bad",
     "line output",
     "bad joint in series with the yoke",
     {add(&P::line_yoke_plug_ohm, 0.1, 4)}},
    {"h_transformer_shorted",
     "line output",
     "shorted turns in the line output transformer",
     {scale(&P::line_output_load_ohm, 0.6, 0.05), scale(&P::line_output_choke_h, 0.8, 0.15)}},

    {"h_yoke_shorted",
     "horizontal yoke",
     "part of the horizontal coil's turns shorted",
     {add(&P::line_yoke_shorted_share, 0.01, 0.15), set(&P::line_yoke_coupling, 0.2, 0.7)}},
    {"h_yoke_open",
     "horizontal yoke",
     "horizontal coil open, or its plug off",
     {add(&P::line_yoke_plug_ohm, 5, 1e12)}},
};

constexpr Fault kHeat[] = {
    {"heatsink_loose",
     "thermal",
     "vertical output IC loose on its heat sink",
     {add(&P::thermal_joint_k_per_w, 10, 800)}},
};

} // namespace

std::span<const Fault> line() {
    return kLine;
}

std::span<const Fault> heat() {
    return kHeat;
}

} // namespace yokedock::sim::tables
