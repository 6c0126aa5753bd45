// SPDX-License-Identifier: MIT
// The one table of board parameters. They are component values (ohm, farad, henry, volt): a fault
// is a change of one of them, never of a reading. Structs, settings, listing and file checks all
// come from this table.
#pragma once
#include "host/result.hpp"
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace yokedock::sim {

/// X(block, name, unit, lowest, highest, tolerance, meaning). Tolerance: relative sd of the part as
/// fitted, used by scatter(); 0 for controls, conditions and the bench itself.
#define YOKEDOCK_SYNC_PARAMETERS(X)                                                                \
    X(sync, amplitude_v, "V", 0, 2, 0, "sync pulse at the board's input, into 75 ohm")             \
    X(sync, gain, "1", 0, 100, 0.03, "sync amplifier gain")                                        \
    X(sync, source_ohm, "ohm", 1, 1e6, 0.05, "resistance that charges the coupling capacitor")     \
    X(sync, coupling_f, "F", 1e-12, 1, 0.05, "coupling capacitor of the clipper")                  \
    X(sync, bleed_ohm, "ohm", 1, 1e9, 0.05, "discharges the coupling capacitor")                   \
    X(sync, base_v, "V", 0, 5, 0.01, "base-emitter voltage of the clipper")                        \
    X(sync, on_a, "A", 0, 1, 0.1, "base current that turns the clipper on")                        \
    X(sync, output_v, "V", 0, 50, 0.02, "swing of the clipper's output")                           \
    X(sync, integrator_ohm, "ohm", 1, 1e9, 0.05, "vertical integrator resistor")                   \
    X(sync, integrator_f, "F", 1e-12, 1, 0.05, "vertical integrator capacitor")                    \
    X(sync, integrator_diode_v, "V", 0, 20, 0.02, "integrated sync below this does nothing")       \
    X(sync, inject_ohm, "ohm", 1, 1e9, 0.02, "series resistor to the vertical oscillator")         \
    X(sync, inject_shunt_ohm, "ohm", 1e-3, 1e9, 0.02, "its shunt at the oscillator's threshold")   \
    X(sync, differentiator_ohm, "ohm", 1, 1e9, 0.05, "line differentiator resistor")               \
    X(sync, differentiator_f, "F", 1e-15, 1, 0.05, "line differentiator capacitor")                \
    X(sync, differentiator_on_v, "V", 1e-3, 20, 0.02, "level that ends the phase detector's gate") \
    X(sync, line_delay_s, "s", 0, 1e-5, 0.05, "delay from line sync to the gate (picture phase)")

#define YOKEDOCK_VERTICAL_PARAMETERS(X)                                                            \
    X(vertical_oscillator, supply_v, "V", 0, 50, 0.02, "stabilised supply")                        \
    X(vertical_oscillator, fixed_ohm, "ohm", 1, 1e9, 0.02, "charging resistor")                    \
    X(vertical_oscillator, hold_ohm, "ohm", 0, 1e9, 0, "hold control, in series")                  \
    X(vertical_oscillator, capacitor_f, "F", 1e-12, 1, 0.02, "timing capacitor")                   \
    X(vertical_oscillator, leak_ohm, "ohm", 1, 1e12, 0, "leakage of the timing capacitor")         \
    X(vertical_oscillator, upper_ratio, "1", 0.01, 0.99, 0.005, "upper threshold / supply")        \
    X(vertical_oscillator, lower_ratio, "1", 0.01, 0.99, 0.005, "lower threshold / supply")        \
    X(vertical_oscillator, discharge_ohm, "ohm", 1, 1e6, 0.02, "discharges the timing capacitor")  \
    X(vertical_oscillator, tempco_per_k, "1/K", -0.02, 0.02, 0, "drift of the time constant")      \
    X(vertical_oscillator, noise_v, "V", 0, 1, 0, "noise at the threshold, one draw per period")   \
    X(vertical_oscillator, rail_share, "1", 0, 1, 0, "part of the rail's error on its supply")     \
    X(ramp, supply_v, "V", 0, 50, 0.01, "stabilised supply of the ramp")                           \
    X(ramp, fixed_ohm, "ohm", 1, 1e9, 0.02, "charging resistor")                                   \
    X(ramp, height_ohm, "ohm", 0, 1e9, 0, "height control, in series")                             \
    X(ramp, upper_f, "F", 1e-12, 1, 0.02, "upper ramp capacitor")                                  \
    X(ramp, lower_f, "F", 1e-12, 1, 0.02, "lower ramp capacitor")                                  \
    X(ramp, leak_ohm, "ohm", 1, 1e12, 0, "leakage across the ramp capacitors")                     \
    X(ramp, linearity_ohm, "ohm", 1, 1e12, 0, "linearity control: ramp to capacitor junction")     \
    X(ramp, reset_ohm, "ohm", 0.1, 1e9, 0.05, "reset switch")                                      \
    X(ramp, drive_gain, "1", 0, 100, 0.01, "ramp to output stage reference")                       \
    X(ramp, bias_v, "V", -50, 50, 0.01, "ramp voltage of zero deflection")                         \
    X(ramp, s_level_v, "V", 1e-3, 1e6, 0.02, "drive at which the driver stage bends (S shape)")    \
    X(vertical_output, gain, "1", 1, 1e6, 0.1, "open loop gain")                                   \
    X(vertical_output, bias_ratio, "1", 0, 1, 0.01, "idle output voltage / rail")                  \
    X(vertical_output, dc_feedback, "1", 0, 1, 0.02, "feedback from the coupling capacitor")       \
    X(vertical_output, saturation_v, "V", 0, 20, 0.05, "output transistor knee")                   \
    X(vertical_output, saturation_ohm, "ohm", 0, 1e4, 0.1, "output transistor on resistance")      \
    X(vertical_output, crossover_v, "V", 0, 5, 0, "bias missing between the output transistors")   \
    X(vertical_output, crossover_a, "A", 1e-5, 1, 0, "current over which they hand over")          \
    X(vertical_output, quiescent_a, "A", 0, 2, 0.1, "idle current")                                \
    X(vertical_output, sense_ohm, "ohm", 1e-3, 1e4, 0.02, "current feedback resistor")             \
    X(vertical_output, coupling_f, "F", 1e-9, 1, 0.1, "coupling capacitor")                        \
    X(vertical_output, coupling_esr_ohm, "ohm", 0, 1e4, 0, "its series resistance")                \
    X(vertical_output, coupling_leak_ohm, "ohm", 0.1, 1e12, 0, "its leakage")                      \
    X(vertical_output, damping_ohm, "ohm", 1, 1e9, 0.05, "across the yoke")                        \
    X(vertical_output, boost_f, "F", 1e-8, 1, 0.1, "boost (flyback generator) capacitor")          \
    X(vertical_output, boost_diode_v, "V", 0, 100, 0.02, "drop in its charging path")              \
    X(vertical_output, boost_charge_ohm, "ohm", 1e-3, 1e12, 0.05, "resistance of that path")       \
    X(vertical_output, boost_switch_ohm, "ohm", 0, 1e12, 0.1, "resistance of its switch")          \
    X(vertical_output, breakdown_v, "V", 1, 1e4, 0, "its output cannot rise above")                \
    X(vertical_yoke, inductance_h, "H", 1e-6, 1e6, 0.02, "vertical load")                          \
    X(vertical_yoke, resistance_ohm, "ohm", 1e-3, 1e12, 0.02, "vertical load")                     \
    X(vertical_yoke, shorted_share, "1", 0, 0.9, 0, "part of the turns bridged by a short")        \
    X(vertical_yoke, coupling, "1", 0, 0.9999, 0, "between shorted turns and the others")          \
    X(vertical_yoke, plug_ohm, "ohm", 0, 1e12, 0, "board to load: 1e12 is a plug off")             \
    X(vertical_ic, reversed, "0 or 1", 0, 1, 0, "fitted the wrong way round")                      \
    X(vertical_ic, dead, "0 or 1", 0, 1, 0, "gives nothing out, and is no short")                  \
    X(vertical_ic, shutdown_c, "degC", 50, 1000, 0, "its own protection mutes it above")           \
    X(vertical_ic, clamp_v, "V", 0.1, 10, 0, "its diodes across the rail, when reversed")          \
    X(vertical_ic, clamp_ohm, "ohm", 1e-3, 1e3, 0, "resistance of those diodes")                   \
    X(vertical_ic, junction_k_per_w, "K/W", 0.01, 1e3, 0, "junction to heat sink")                 \
    X(vertical_ic, junction_j_per_k, "J/K", 1e-6, 1e3, 0, "heat capacity of the junction")         \
    X(vertical_ic, max_junction_c, "degC", 50, 500, 0, "destroyed above")                          \
    X(vertical_ic, max_output_a, "A", 0.01, 1e3, 0, "destroyed above, at the output")              \
    X(vertical_ic, max_supply_a, "A", 0.01, 1e3, 0, "destroyed above, supply pins")                \
    X(vertical_ic, max_supply_v, "V", 1, 1e3, 0, "destroyed above")                                \
    X(vertical_ic, short_ohm, "ohm", 1e-3, 1e3, 0, "across the rail when destroyed")

#define YOKEDOCK_LINE_PARAMETERS(X)                                                                \
    X(line_afc, sine, "0 or 1", 0, 1, 0, "detector: 0 sawtooth from retrace, 1 sine")              \
    X(line_afc, retrace_ratio, "1", 0, 10, 0.01, "winding that feeds the retrace pulse back")      \
    X(line_afc, shaper_ohm, "ohm", 1, 1e9, 0.05, "pulse integrator resistor")                      \
    X(line_afc, shaper_f, "F", 1e-12, 1, 0.05, "pulse integrator capacitor")                       \
    X(line_afc, detector_ohm, "ohm", 1, 1e12, 0.05, "detector resistance while gated")             \
    X(line_afc, leak_ohm, "ohm", 1, 1e12, 0.05, "load of the control voltage")                     \
    X(line_afc, filter_f, "F", 1e-13, 1, 0.05, "loop filter, direct capacitor")                    \
    X(line_afc, lag_ohm, "ohm", 1, 1e9, 0.05, "loop filter, series resistor")                      \
    X(line_afc, lag_f, "F", 1e-13, 1, 0.05, "loop filter, series capacitor")                       \
    X(line_oscillator, reference_v, "V", 0.1, 50, 0.005, "charging reference")                     \
    X(line_oscillator, fixed_ohm, "ohm", 1, 1e9, 0.005, "charging resistor")                       \
    X(line_oscillator, hold_ohm, "ohm", 0, 1e9, 0, "hold control, in series")                      \
    X(line_oscillator, capacitor_f, "F", 1e-13, 1, 0.005, "timing capacitor")                      \
    X(line_oscillator, swing_v, "V", 0.01, 50, 0.005, "its swing")                                 \
    X(line_oscillator, leak_s, "S", 0, 1, 0, "leakage of the timing capacitor")                    \
    X(line_oscillator, stopped, "0 or 1", 0, 1, 0, "does not oscillate")                           \
    X(line_oscillator, control_ohm, "ohm", 1, 1e12, 0.05, "from control voltage to it")            \
    X(line_oscillator, tempco_per_k, "1/K", -0.02, 0.02, 0, "drift of the rate")                   \
    X(line_oscillator, noise_v, "V", 0, 1, 0, "noise at the threshold, one draw per period")       \
    X(line_oscillator, rail_share, "1", 0, 1, 0, "part of the rail's error on its reference")      \
    X(line_drive, storage_s, "s", 0, 2e-5, 0.05, "storage time of the output transistor")          \
    X(line_drive, dead, "0 or 1", 0, 1, 0, "no drive to the output transistor")                    \
    X(line_drive, on_phase, "1", 0.02, 0.98, 0.01, "drive returns this part of a line later")      \
    X(line_output, choke_h, "H", 1e-6, 1e6, 0.05, "choke or transformer primary")                  \
    X(line_output, choke_ohm, "ohm", 0, 1e6, 0.05, "its resistance")                               \
    X(line_output, retrace_f, "F", 1e-12, 1, 0.02, "retrace capacitor")                            \
    X(line_output, s_f, "F", 1e-9, 1, 0.05, "S-correction capacitor")                              \
    X(line_output, damper_v, "V", 0, 1000, 0.02, "damper drop")                                    \
    X(line_output, damper_ohm, "ohm", 0, 1e4, 0.05, "damper resistance")                           \
    X(line_output, saturation_v, "V", 0, 100, 0.05, "output transistor knee")                      \
    X(line_output, on_ohm, "ohm", 0, 1e4, 0.05, "output transistor on resistance")                 \
    X(line_output, load_ohm, "ohm", 1, 1e12, 0.05, "transformer load, seen at the collector")      \
    X(line_yoke, inductance_h, "H", 1e-9, 1e6, 0.02, "horizontal load")                            \
    X(line_yoke, resistance_ohm, "ohm", 0, 1e12, 0.02, "horizontal load")                          \
    X(line_yoke, shorted_share, "1", 0, 0.9, 0, "part of the turns bridged by a short")            \
    X(line_yoke, coupling, "1", 0, 0.9999, 0, "between shorted turns and the others")              \
    X(line_yoke, plug_ohm, "ohm", 0, 1e12, 0, "board to load: 1e12 is a plug off")

#define YOKEDOCK_SUPPLY_PARAMETERS(X)                                                              \
    X(supply, mains_v, "V", 0, 300, 0, "mains, rms")                                               \
    X(supply, mains_hz, "Hz", 40, 70, 0, "mains frequency")                                        \
    X(supply, mains_phase, "turns", 0, 1, 0, "phase of the mains at time 0")                       \
    X(supply, transformer_ratio, "1", 0, 10, 0.02, "secondary / primary")                          \
    X(supply, rectifier_v, "V", 0, 5, 0.02, "one rectifier diode; two conduct")                    \
    X(supply, source_ohm, "ohm", 1e-3, 1e4, 0.05, "transformer and fuse")                          \
    X(supply, branch_ohm, "ohm", 0, 1e9, 0, "in one of the rectifier's two branches: 1e9 open")    \
    X(supply, reservoir_f, "F", 1e-9, 1, 0.1, "reservoir capacitor")                               \
    X(supply, reservoir_esr_ohm, "ohm", 0, 1e3, 0.1, "its series resistance")                      \
    X(supply, regulated_v, "V", 0, 60, 0.01, "regulator setting")                                  \
    X(supply, dropout_v, "V", 0, 20, 0.05, "least drop across the regulator")                      \
    X(supply, rejection, "1", 1, 1e9, 0.1, "ripple rejection of the regulator")                    \
    X(supply, output_ohm, "ohm", 0, 1e3, 0.1, "regulator output resistance")                       \
    X(supply, filter_ohm, "ohm", 1e-4, 1e3, 0.05, "rail filter: resistance")                       \
    X(supply, joint_ohm, "ohm", 0, 1e3, 0, "bad joint or fuse between regulator and rail")         \
    X(supply, decoupling_f, "F", 1e-9, 1, 0.1, "rail filter: capacitor")                           \
    X(supply, other_load_ohm, "ohm", 0.1, 1e9, 0.02, "everything else on the rail")                \
    X(thermal, ambient_c, "degC", -40, 80, 0, "air")                                               \
    X(thermal, start_c, "degC", -40, 200, 0, "heat sink at time 0")                                \
    X(thermal, resistance_k_per_w, "K/W", 0.1, 1000, 0.05, "heat sink to air")                     \
    X(thermal, capacity_j_per_k, "J/K", 1e-3, 1e5, 0.05, "heat sink")                              \
    X(thermal, oscillator_share, "1", 0, 1, 0, "part of the sink's rise the oscillators feel")     \
    X(thermal, joint_k_per_w, "K/W", 0, 1e3, 0, "vertical output IC's case to heat sink")          \
    X(thermal, case_j_per_k, "J/K", 1e-3, 100, 0, "heat capacity of its case, with a bad joint")   \
    X(thermal, case_air_k_per_w, "K/W", 1, 1e3, 0, "its case to air, with a bad joint")            \
    X(thermal, pace, "1", 1, 1e4, 0, "heat sink and case warm up so many times faster")

#define YOKEDOCK_BENCH_PARAMETERS(X)                                                               \
    X(bench, seed, "1", 0, 4294967295.0, 0, "which bench: draws its gain, zero and clock errors")  \
    X(bench, errors, "1", 0, 100, 0, "scale of those errors: 1 as the channel table, 0 none")      \
    X(bench, clock_ppm_sd, "ppm", 0, 1e4, 0, "sd of the clock error drawn")                        \
    X(bench, clock_ppm_offset, "ppm", -1e5, 1e5, 0, "added to the clock error drawn")              \
    X(bench, noise_seed, "1", 0, 4294967295.0, 0, "noise of board and front end")                  \
    X(bench, noise_lsb, "LSB", 0, 100, 0, "noise at the converter, rms")                           \
    X(bench, v_yoke_lag_s, "s", 0, 1e-5, 0, "input lag of v_yoke_a")                               \
    X(bench, h_yoke_lag_s, "s", 0, 1e-5, 0, "input lag of h_yoke_a")                               \
    X(bench, v_out_lag_s, "s", 0, 1e-5, 0, "input lag of v_out_v")                                 \
    X(bench, supply_lag_s, "s", 0, 1e-5, 0, "input lag of supply_v and supply_a")                  \
    X(bench, peak_decay_s, "s", 1e-4, 10, 0, "time constant of the peak detector")                 \
    X(bench, line_threshold_v, "V", 0.1, 1000, 0, "line retrace comparator, at the collector")     \
    X(bench, line_delay_s, "s", 0, 1e-5, 0, "delay of the line retrace comparator")                \
    X(bench, field_threshold_v, "V", 0.1, 100, 0, "field retrace comparator, at the output node")  \
    X(bench, field_hysteresis_v, "V", 0, 10, 0, "its hysteresis")                                  \
    X(bench, field_delay_s, "s", 2.5e-6, 5e-5, 0, "delay of the field retrace comparator")         \
    X(bench, soft_start_ohm, "ohm", 0.1, 1e4, 0, "soft-start resistor")                            \
    X(bench, shunt_ohm, "ohm", 1e-3, 10, 0, "supply shunt")                                        \
    X(bench, bypass_gate_ohm, "ohm", 1e3, 1e8, 0, "pulls the gate of the bypass down")             \
    X(bench, bypass_gate_f, "F", 1e-10, 1e-4, 0, "gate to drain of the bypass: its slope")         \
    X(bench, bypass_threshold_v, "V", 0.5, 10, 0, "gate threshold of the bypass")                  \
    X(bench, bypass_gain, "A/V2", 0.01, 100, 0, "current: gain / 2 x (V above threshold)^2")       \
    X(bench, relay_operate_s, "s", 1e-4, 0.1, 0, "coil on to contact made")                        \
    X(bench, relay_release_s, "s", 1e-4, 0.1, 0, "coil off to contact open")                       \
    X(bench, over_current_a, "A", 0.01, 100, 0, "threshold: jumper at 1, 2 or 4")                  \
    X(bench, over_current_delay_s, "s", 1e-7, 1e-4, 0, "filter, amplifier, comparator")            \
    X(bench, step_supply_v, "V", 0, 50, 0, "supply of the load step")                              \
    X(bench, step_ohm, "ohm", 0.1, 1e4, 0, "resistor of the load step")                            \
    X(bench, step_switch_ohm, "ohm", 0, 100, 0, "its MOSFET and contact K5")                       \
    X(bench, step_diode_v, "V", 0, 5, 0, "its free-wheel diode")                                   \
    X(bench, load_path_ohm, "ohm", 0, 100, 0, "contacts K3 or K4 and shunt")

#define YOKEDOCK_BOARD_PARAMETERS(X)                                                               \
    YOKEDOCK_SYNC_PARAMETERS(X)                                                                    \
    YOKEDOCK_VERTICAL_PARAMETERS(X)                                                                \
    YOKEDOCK_LINE_PARAMETERS(X)                                                                    \
    YOKEDOCK_SUPPLY_PARAMETERS(X)                                                                  \
    YOKEDOCK_BENCH_PARAMETERS(X)

/// All values in the table's unit, as flat members: block_name, e.g. ramp_height_ohm.
struct BoardParameters {
#define X(block, name, unit, low, high, tolerance, text) double block##_##name = 0;
    YOKEDOCK_BOARD_PARAMETERS(X)
#undef X
};

struct ParameterInfo {
    std::string_view path; ///< "block.name", as in a board file and in settings
    std::string_view unit;
    double low;
    double high;
    double tolerance;
    std::string_view text;
    double BoardParameters::*member;
};

/// Every parameter, in table order.
[[nodiscard]] std::span<const ParameterInfo> parameter_table();

/// nullptr when there is no such path.
[[nodiscard]] const ParameterInfo* find_parameter(std::string_view path);

/// Sets one value after checking path and range; nothing changes on error.
[[nodiscard]] Status set_parameter(BoardParameters& board, std::string_view path, double value);

/// Applies "path.to.value=number".
[[nodiscard]] Status apply_setting(BoardParameters& board, std::string_view setting);

/// A board as built from parts of their tolerance: each value times 1 + scale * tolerance * normal,
/// and then set up as a factory does: hold and height controls turned until free runs and height
/// are those of `board` (or the control is at its end). The same seed gives the same board.
/// Conditions and the bench stay as they are.
[[nodiscard]] BoardParameters scatter(const BoardParameters& board, std::uint32_t seed,
                                      double scale = 1.0);

} // namespace yokedock::sim
