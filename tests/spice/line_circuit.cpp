// SPDX-License-Identifier: MIT
#include "tests/spice/line_circuit.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::spice {

namespace {

using sim::BoardParameters;

constexpr double kThermalV = 1.380649e-23 * 300.15 / 1.602176634e-19; // ngspice's 27 degC
constexpr double kDriveV = 5; // of the driver transformer's winding
constexpr double kDriveOffV = -2;
constexpr double kDriveOhm = 5; // base drive: 0.85 A
constexpr double kReverseBeta = 0.5;
constexpr double kBaseSpreadOhm = 0.2;
constexpr double kCollectorOhm = 0.05;
constexpr double kBaseOhm = 1.5;        // winding and base resistance when the drive is away
constexpr double kLeakCoupling = 0.999; // transformer windings that are not shorted
// A layer of the primary itself, so well coupled; its leakage (20 uH) is small beside its
// resistance.
constexpr double kShortCoupling = 0.998;
constexpr double kDamperIs = 1e-11;
constexpr double kDamperN = 1.2;
constexpr double kTransistorIs = 1e-12;

/// Regulator with its output resistance, rail filter, decoupling, and the rest of the board.
std::string supply(const BoardParameters& p, const LineStart& start, double other_a) {
    return fmt::format("vreg reg 0 {}\nrreg reg rail {}\nrfilt rail dec {}\n"
                       "cdec dec 0 {} ic={}\niother dec 0 {}\n",
                       p.supply_regulated_v, p.supply_output_ohm, p.supply_filter_ohm,
                       p.supply_decoupling_f, start.rail_v, other_a);
}

/// The drive winding pushes the base through a resistor and pulls it below the emitter to switch
/// off.
std::string transistor(const LineCase& c) {
    const double on_s = c.on_phase * kLineS;
    std::string s;
    s += fmt::format("vdrive drive 0 pulse({0} {1} {2} 50n 50n {3} {4})\n", kDriveOffV, kDriveV,
                     on_s, kLineS - on_s - 50e-9, kLineS);
    s += fmt::format("rdrive drive base {}\nddrive base dbase dfast\nrbase dbase drive {}\n",
                     kDriveOhm, kBaseOhm);
    s += "qout coll base 0 qline\n";
    s += fmt::format(".model qline npn is={} bf=15 br={} rb={} rc={} tf=5n tr=20n cje=2n "
                     "cjc=150p vaf=300\n.model dfast d is=1e-9 rs=0.1\n",
                     kTransistorIs, kReverseBeta, kBaseSpreadOhm, kCollectorOhm);
    return s;
}

} // namespace

BoardParameters line_values(const LineCase& c) {
    BoardParameters p = c.values;
    p.line_drive_on_phase = c.on_phase;
    // Damper at an ampere; the transistor saturated: kT/q ln((1 + forced beta / reverse beta ...)),
    // under 0.1 V, and its collector resistance.
    p.line_output_damper_v = kDamperN * kThermalV * std::log(1 / kDamperIs);
    p.line_output_saturation_v = 0.08;
    p.line_output_on_ohm = kCollectorOhm;
    p.line_yoke_resistance_ohm += c.joint_ohm;
    if (c.short_turn_ohm > 0) {
        p.line_output_load_ohm = 1 / (1 / p.line_output_load_ohm + 1 / c.short_turn_ohm);
    }
    if (c.damper_open) {
        // The current goes through base and drive winding, which stands at its negative voltage;
        // the emitter adds the reverse gain's share.
        p.line_output_damper_v = -kDriveOffV + kThermalV * std::log(1 / kTransistorIs);
        p.line_output_damper_ohm =
            (kDriveOhm + kBaseSpreadOhm) / (1 + kReverseBeta) + kCollectorOhm;
    }
    return p;
}

std::string line_netlist(const LineCase& c, const LineStart& start, double other_a) {
    const BoardParameters& p = c.values;
    std::string s = supply(p, start, other_a) + transistor(c);
    // Damper and retrace capacitor.
    s += fmt::format("ddamper 0 {} ddamper\n.model ddamper d is={} n={} rs={} tt=50n\n",
                     c.damper_open ? "nowhere" : "coll", kDamperIs, kDamperN,
                     p.line_output_damper_ohm);
    s += "rnowhere nowhere 0 1meg\n";
    s += fmt::format("cretrace coll 0 {} ic=0\n", p.line_output_retrace_f);
    // Transformer: primary to the rail, a secondary with a load that the primary sees as load_ohm,
    // and the shorted turns.
    s += fmt::format("lp dec lp {} ic={}\nrp lp coll {}\n", p.line_output_choke_h, start.choke_a,
                     p.line_output_choke_ohm);
    s += fmt::format("l2 sec 0 {}\nkp lp l2 {}\nrload sec 0 {}\n", p.line_output_choke_h,
                     kLeakCoupling, p.line_output_load_ohm);
    if (c.short_turn_ohm > 0) {
        s += fmt::format("l3 turn 0 {}\nkt lp l3 {}\nkx l2 l3 {}\nrturn turn 0 {}\n",
                         p.line_output_choke_h, kShortCoupling, kShortCoupling, c.short_turn_ohm);
    }
    // Yoke, its joint and plug, the shorted part, the S capacitor.
    const double x = p.line_yoke_shorted_share;
    const double l = p.line_yoke_inductance_h;
    s += fmt::format("ly cs ly {} ic={}\nry ly coll {}\n", (1 - x) * (1 - x) * l, start.yoke_a,
                     (1 - x) * p.line_yoke_resistance_ohm + c.joint_ohm + p.line_yoke_plug_ohm);
    if (x > 0) {
        s += fmt::format("lx xa 0 {}\nrx xa 0 {}\nkyx ly lx {}\n", x * x * l,
                         x * p.line_yoke_resistance_ohm, p.line_yoke_coupling);
    }
    s += fmt::format("cs cs 0 {} ic={}\n", p.line_output_s_f, start.s_v);
    return s;
}

std::vector<LineCase> line_cases(const BoardParameters& board) {
    std::vector<LineCase> cases;
    const auto add = [&](const char* id, const char* change, auto make) {
        LineCase c;
        c.id = id;
        c.change = change;
        c.values = board;
        c.on_phase = board.line_drive_on_phase;
        make(c);
        cases.push_back(c);
    };
    using C = LineCase&;
    add("healthy", "none", [](C) {});
    add("h_retrace_cap_low", "retrace capacitor 41 nF -> 22 nF",
        [](C c) { c.values.line_output_retrace_f = 22e-9; });
    add("h_retrace_cap_high", "retrace capacitor 41 nF -> 68 nF",
        [](C c) { c.values.line_output_retrace_f = 68e-9; });
    add("h_s_cap_low", "S capacitor 8.2 uF -> 2.2 uF",
        [](C c) { c.values.line_output_s_f = 2.2e-6; });
    add("h_damper_open", "damper diode open", [](C c) { c.damper_open = true; });
    add("h_joint_bad", "2 ohm in series with the yoke", [](C c) { c.joint_ohm = 2; });
    add("h_transformer_shorted", "turns shorted: 150 ohm at the primary",
        [](C c) { c.short_turn_ohm = 150; });
    add("h_yoke_shorted", "10 % of the turns shorted, coupling 0.6", [](C c) {
        c.values.line_yoke_shorted_share = 0.1;
        c.values.line_yoke_coupling = 0.6;
    });
    add("h_yoke_open", "plug off", [](C c) { c.values.line_yoke_plug_ohm = 1e9; });
    add("h_drive_short", "drive returns after 75 % of a line in place of 42 %",
        [](C c) { c.on_phase = 0.75; });
    add("supply_high", "regulator 24 -> 28.8 V", [](C c) { c.values.supply_regulated_v = 28.8; });
    add("supply_low", "regulator 24 -> 18 V", [](C c) { c.values.supply_regulated_v = 18; });
    return cases;
}

} // namespace yokedock::spice
