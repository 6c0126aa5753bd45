// SPDX-License-Identifier: MIT
#include "tests/spice/vertical_circuit.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::spice {

namespace {

using sim::BoardParameters;

constexpr double kThermalV = 1.380649e-23 * 300.15 / 1.602176634e-19; // ngspice's 27 degC
constexpr double kEmitterOhm = 0.22;
constexpr double kPullOhm = 330;      // base of the pass transistors to raw
constexpr double kRejection = 900;    // loop gain of the regulator
constexpr double kFeedbackOhm = 20e3; // shunt feedback around the driver

// Power transistor, small transistor, diodes: round figures of the class (BD-type, BC-type, 1 A
// rectifier), from memory.
constexpr double kPowerIs = 1e-12;
constexpr double kSmallIs = 1e-14;
constexpr double kDiodeIs = 1e-12;
constexpr const char* kModels = R"(
.model qsmall npn is=1e-14 bf=400 tf=1n cje=10p cjc=5p rb=20 vaf=100
.model qsmallp pnp is=1e-14 bf=120 tf=1n cje=10p cjc=5p rb=20 vaf=100
.model qpower npn is=1e-12 bf=60 tf=20n cje=200p cjc=100p rb=1 rc=0.1 vaf=100
.model dsmall d is=1e-14
.model dpower d is=1e-12 rs=0.1
.model dbridge d is=1e-9 n=1.5 rs=0.05 cjo=50p
.model swramp sw vt=0.5 vh=0.1 ron=0.01 roff=1e12
)";

/// Mains, bridge, reservoir, series regulator (Darlington, shunt error amplifier), rail filter, and
/// what else hangs on the rail.
std::string supply(const BoardParameters& p, const VerticalStart& start, double line_a) {
    const double peak_v = std::sqrt(2.0) * p.supply_mains_v * p.supply_transformer_ratio;
    // 4.7 V reference; the divider is what sets the rail.
    const double ratio = 4.7 / p.supply_regulated_v;
    std::string s;
    s += fmt::format("bsec sec low v={}*sin(6.283185307*({}*time+{}))\n", peak_v, p.supply_mains_hz,
                     start.mains_turns);
    s += fmt::format("rsource sec ac {}\n", p.supply_source_ohm);
    s += "db1 ac raw dbridge\ndb2 0 ac dbridge\ndb3 low raw dbridge\ndb4 0 low dbridge\nclow low 0 "
         "10n\nrlow low 0 100k\n";
    s += fmt::format("cres raw rese {} ic={}\nresr rese 0 {}\n", p.supply_reservoir_f, start.raw_v,
                     p.supply_reservoir_esr_ohm + 1e-3);
    // Pass transistors with their base pulled up; the error amplifier takes the pull-up's current.
    s += fmt::format(
        "rpull raw qb {}\nqp1 raw qb qe qsmall\nqp2 raw qe reg qpower\nrqe qe reg 470\n", kPullOhm);
    s += fmt::format("berr qb 0 i=max(0,{}*({}*v(reg)-4.7))\n", kRejection / (kPullOhm * ratio),
                     ratio);
    s += fmt::format("rout reg railm {}\n", p.supply_output_ohm);
    s += "vshunt railm rail 0\n";
    s += fmt::format("rfilt rail dec {}\ncdec dec 0 {} ic={}\n", p.supply_filter_ohm,
                     p.supply_decoupling_f, p.supply_regulated_v - 0.1);
    s += fmt::format("rother dec 0 {}\niline dec 0 {}\n", p.supply_other_load_ohm, line_a);
    return s;
}

/// Two capacitors in series, a follower through the linearity control, a reset switch, and the
/// driver's reference from it.
std::string ramp(const BoardParameters& p, const VerticalStart& start) {
    std::string s;
    s += fmt::format("vz vz 0 {}\nrcharge vz top {}\n", p.ramp_supply_v,
                     p.ramp_fixed_ohm + p.ramp_height_ohm);
    s += fmt::format("c1 top mid {} ic={}\nc2 mid 0 {} ic={}\nrleak top 0 {}\n", p.ramp_upper_f,
                     start.ramp_upper_v, p.ramp_lower_f, start.ramp_lower_v, p.ramp_leak_ohm);
    s += fmt::format("efollow follow 0 top 0 1\nrlin follow mid {}\n", p.ramp_linearity_ohm);
    s += fmt::format("vreset reset 0 pulse(1 0 {} 0.1u 0.1u {} {})\n", kResetS,
                     kFieldS - kResetS - 0.1e-6, kFieldS);
    s += fmt::format("sreset top discharge reset 0 swramp\nrreset discharge 0 {}\n",
                     p.ramp_reset_ohm);
    s += fmt::format("bdrive drive 0 v={0}*({1}-v(top))/sqrt(1+({0}*({1}-v(top))/{2})^2)\n",
                     p.ramp_drive_gain, p.ramp_bias_v, p.ramp_s_level_v);
    return s;
}

/// Long-tailed pair (its law: tail x tanh), driver and lower transistor with shunt feedback, upper
/// Darlington follower on a current source, diode from the output into the lower transistor, catch
/// diodes. Everything above the driver lives on the boosted supply.
std::string amplifier(const BoardParameters& p, bool bias_shorted) {
    const double k = p.vertical_output_dc_feedback;
    std::string s;
    s += fmt::format("bplus plus 0 v=v(drive)+{}*v(dec)\n", k * p.vertical_output_bias_ratio);
    // The loop's gain is transconductance x feedback resistor; the second term is its idle balance.
    s += fmt::format("r1 sense minus {}\nr2 cc minus {}\n", 100e3 * k, 100e3 * (1 - k));
    s += fmt::format("bpair vb 0 i=5m*tanh(({}*(v(plus)-v(minus))+({}*v(dec)-1.9)/{})/5m)\n",
                     p.vertical_output_gain / kFeedbackOhm, p.vertical_output_bias_ratio,
                     kFeedbackOhm);
    s += fmt::format("rfb low2 vb {}\ncfb low2 vb 22p\ndvb 0 vb dsmall\n", kFeedbackOhm);
    s += "q3 q3c vb q3e qsmall\nrq3 dec q3c 470\nrb4 q3e 0 470\nq4 low2 q3e 0 qpower\n";
    s += "q5 upb mir boost qsmallp\nq6 mir mir boost qsmallp\nrmir mir 0 3.9k\n";
    s += bias_shorted ? "rbias upb low2 0.1\n"
                      : "dba upb ba dsmall\ndbb ba bb dsmall\ndbc bb low2 dsmall\n";
    s += "q7 boost upb q7e qsmall\nq8 boost q7e q8e qpower\nrbe q7e out 220\n";
    s += fmt::format("re q8e out {}\n", kEmitterOhm);
    s += "dlow out low2 dpower\ndcatch1 out boost dpower\ndcatch2 0 out dpower\n";
    return s;
}

/// Boost: the capacitor's foot lies at ground through the charging path while the driver stays
/// below the rail, and is switched onto the rail when it goes for more.
std::string boost(const VerticalCase& c, const VerticalStart& start) {
    const BoardParameters& p = c.values;
    std::string s;
    s += fmt::format("dboost dec boost dpower\ncboost boost foot {} ic={}\n",
                     p.vertical_output_boost_f, start.boost_v);
    s += "bover over 0 v=v(upb)-v(dec)\ncfoot foot 0 100n\n";
    s += fmt::format("sup foot dec over 0 swup\nsdown foot 0 over 0 swdown\n"
                     ".model swup sw vt={0} vh=0.4 ron={1} roff=1e7\n"
                     ".model swdown sw vt={0} vh=0.4 ron=1e7 roff={2}\n",
                     c.boost_never_lifts ? 1e3 : -1.8, p.vertical_output_boost_switch_ohm,
                     p.vertical_output_boost_charge_ohm);
    return s;
}

/// Yoke, as two coupled parts when turns are shorted; damping resistor, coupling capacitor with its
/// leak, sense resistor.
std::string load(const BoardParameters& p, const VerticalStart& start) {
    std::string s;
    const double x = p.vertical_yoke_shorted_share;
    const double l = p.vertical_yoke_inductance_h;
    const double r = p.vertical_yoke_resistance_ohm;
    s += fmt::format("ly out ly {} ic={}\nry ly cc {}\n", (1 - x) * (1 - x) * l, start.yoke_a,
                     (1 - x) * r + p.vertical_yoke_plug_ohm);
    if (x > 0) {
        s += fmt::format("lx xa 0 {}\nrx xa 0 {}\nkx ly lx {}\n", x * x * l, x * r,
                         p.vertical_yoke_coupling);
    }
    s += fmt::format("rd out cc {}\n", p.vertical_output_damping_ohm);
    s += fmt::format("ccouple cc esr {} ic={}\nresr2 esr sense {}\nrleak2 cc sense {}\n",
                     p.vertical_output_coupling_f, start.coupling_v,
                     p.vertical_output_coupling_esr_ohm, p.vertical_output_coupling_leak_ohm);
    s += fmt::format("rsense sense 0 {}\n", p.vertical_output_sense_ohm);
    return s;
}

} // namespace

BoardParameters vertical_values(const BoardParameters& board, bool bias_shorted,
                                bool boost_never_lifts) {
    BoardParameters p = board;
    const auto junction_v = [](double is, double a) { return kThermalV * std::log(a / is); };
    // Knees at a third of an ampere. Upwards: saturated current source and two emitters; catch
    // diode the other way; downwards: diode and saturated lower transistor. The model has one:
    // the mean of the two that limit retrace.
    const double upper_v = 0.1 + junction_v(kSmallIs, 5e-3) + junction_v(kPowerIs, 0.3);
    const double lower_v = junction_v(kDiodeIs, 0.3) + 0.1;
    const double catch_v = junction_v(kDiodeIs, 0.3);
    p.vertical_output_saturation_v = (upper_v + catch_v) / 2;
    p.vertical_output_saturation_ohm = kEmitterOhm + 0.1; // collector resistance
    p.vertical_output_boost_diode_v = junction_v(kDiodeIs, 0.1);
    if (boost_never_lifts) {
        p.vertical_output_boost_diode_v = 100; // the model's word for a boost that gives nothing
    }
    // Hand-over. Shorted bias: two emitters and a diode must be crossed, nearly at once.
    p.vertical_output_crossover_v = bias_shorted ? (upper_v + lower_v - 0.2) / 2 : 0.05;
    p.vertical_output_crossover_a = bias_shorted ? 1e-3 : 0.03;
    p.vertical_output_quiescent_a =
        0.02; // two branches of the mirror and the output's idle current
    // Bridge, charging at 5 A: 1.5 kT/q ln(5 A / 1 nA) and 0.05 ohm each. Regulator: two emitters,
    // the collector resistance, the pull-up.
    p.supply_rectifier_v = 1.5 * junction_v(1e-9, 5) + 0.05 * 5;
    p.supply_dropout_v = junction_v(kSmallIs, 15e-3) + junction_v(kPowerIs, 0.8) + 0.1 * 0.8 +
                         kPullOhm * 0.8 / 60 / 400;
    p.supply_rejection = kRejection;
    return p;
}

std::string vertical_netlist(const VerticalCase& c, const VerticalStart& start, double line_a) {
    return supply(c.values, start, line_a) + ramp(c.values, start) +
           amplifier(c.values, c.bias_shorted) + boost(c, start) + load(c.values, start) + kModels;
}

std::vector<VerticalCase> vertical_cases(const BoardParameters& board) {
    std::vector<VerticalCase> cases;
    const auto add = [&](const char* id, const char* change, auto make) {
        VerticalCase c{id, change, board, false, false};
        make(c);
        c.values = vertical_values(c.values, c.bias_shorted, c.boost_never_lifts);
        cases.push_back(c);
    };
    using C = VerticalCase&;
    add("healthy", "none", [](C) {});
    add("v_coupling_dried", "coupling capacitor 1000 uF -> 150 uF, ESR 0.1 -> 1 ohm", [](C c) {
        c.values.vertical_output_coupling_f = 150e-6;
        c.values.vertical_output_coupling_esr_ohm = 1;
    });
    add("v_coupling_leaky", "100 ohm across the coupling capacitor",
        [](C c) { c.values.vertical_output_coupling_leak_ohm = 100; });
    add("v_crossover", "bias diodes of the output transistors shorted",
        [](C c) { c.bias_shorted = true; });
    add("v_sense_high", "sense resistor 1 -> 1.5 ohm",
        [](C c) { c.values.vertical_output_sense_ohm = 1.5; });
    add("v_damping_open", "damping resistor 470 ohm -> 1 Mohm",
        [](C c) { c.values.vertical_output_damping_ohm = 1e6; });
    add("boost_cap_open", "boost capacitor 100 uF -> 1 uF",
        [](C c) { c.values.vertical_output_boost_f = 1e-6; });
    add("boost_path_dead", "the boost's switch to the rail open",
        [](C c) { c.boost_never_lifts = true; });
    add("v_yoke_shorted", "30 % of the turns shorted",
        [](C c) { c.values.vertical_yoke_shorted_share = 0.3; });
    add("v_yoke_open", "plug off", [](C c) { c.values.vertical_yoke_plug_ohm = 1e9; });
    add("supply_high", "regulator 24 -> 28.8 V", [](C c) { c.values.supply_regulated_v = 28.8; });
    add("supply_low", "regulator 24 -> 18 V", [](C c) { c.values.supply_regulated_v = 18; });
    add("reservoir_dried", "reservoir 4700 -> 470 uF, ESR 0.05 -> 0.5 ohm", [](C c) {
        c.values.supply_reservoir_f = 470e-6;
        c.values.supply_reservoir_esr_ohm = 0.5;
    });
    add("ramp_cap_leaky", "470 kohm across the ramp capacitors",
        [](C c) { c.values.ramp_leak_ohm = 470e3; });
    add("linearity_open", "linearity control open", [](C c) { c.values.ramp_linearity_ohm = 1e9; });
    return cases;
}

} // namespace yokedock::spice
