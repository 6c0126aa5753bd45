// SPDX-License-Identifier: MIT
// A good board of invented figures.
#pragma once
#include "host/diagnose/diagnose.hpp"

namespace yokedock::diagnose {

/// A good board of no particular make, and half bands in percent or in the unit.
struct Good {
    const char* name;
    double value;
    double tolerance;
};
constexpr Good kGood[] = {{"supply_v", 30, 1.5},
                          {"supply_ripple_v", 0.01, 0.1},
                          {"supply_mains_v", 0.01, 0.1},
                          {"supply_a", 0.7, 0.04},
                          {"v_rate_hz", 50, 0.05},
                          {"h_rate_hz", 15625, 16},
                          {"v_jitter_rms_us", 0.2, 5},
                          {"h_jitter_rms_us", 0.02, 0.2},
                          {"v_phase_us", 300, 30},
                          {"h_phase_us", 1, 0.2},
                          {"v_yoke_pp_a", 1.2, 0.06},
                          {"v_yoke_bow_pct", 0.3, 1},
                          {"v_yoke_s_pct", -0.5, 1},
                          {"v_yoke_crossover_pct", 100, 10},
                          {"v_yoke_centring_a", 0, 0.04},
                          {"v_yoke_foldover_pct", 0, 1},
                          {"v_yoke_hum_size_pct", 0.05, 1},
                          {"v_retrace_us", 600, 60},
                          {"v_out_pulse_us", 500, 50},
                          {"v_out_peak_ratio", 2, 0.1},
                          {"v_out_min_v", 2, 0.3},
                          {"h_yoke_pp_a", 3, 0.15},
                          {"h_retrace_us", 7, 0.7},
                          {"h_retrace_pulse_us", 10, 1},
                          {"h_peak_v", 250, 12},
                          {"h_yoke_bow_pct", -1, 1},
                          {"h_yoke_s_pct", -1, 1},
                          {"h_yoke_centring_a", 0, 0.1},
                          {"h_yoke_foldover_pct", 0, 1},
                          {"heatsink_c", 45, 9}};
constexpr const char* kFlags[] = {"v_locked",      "h_locked",       "v_pulses_seen",
                                  "h_pulses_seen", "v_current_seen", "h_current_seen",
                                  "v_output_moves"};

inline Evidence good_board() {
    Evidence e;
    for (const Good& g : kGood) {
        e.expected[g.name] = {g.value, g.tolerance};
        e.figures.push_back(
            analysis::measured(g.name, g.name, "", g.value, 0.1 * g.tolerance, 100, "invented"));
    }
    for (const char* name : kFlags) {
        e.figures.push_back(analysis::measured(name, name, "", 1, 0, 100, "invented"));
    }
    return e;
}

} // namespace yokedock::diagnose
