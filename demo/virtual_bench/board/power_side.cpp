// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/power_side.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::sim {

namespace {

constexpr double kApartOhm = 1e12;
constexpr double kFineAfterS = 2e-3; ///< small steps for so long after a change
constexpr double kFineFromShare =
    0.05; ///< and while the current is so far, in thresholds, from its aim

Coil vertical_coil(const BoardParameters& p) {
    return {p.vertical_yoke_resistance_ohm, p.vertical_yoke_inductance_h,
            p.vertical_yoke_shorted_share, p.vertical_yoke_coupling};
}

Coil horizontal_coil(const BoardParameters& p) {
    return {p.line_yoke_resistance_ohm, p.line_yoke_inductance_h, p.line_yoke_shorted_share,
            p.line_yoke_coupling};
}

StepDrive step_drive(const BoardParameters& p) {
    return {
        p.bench_step_supply_v, p.bench_step_ohm + p.bench_step_switch_ohm + p.bench_load_path_ohm,
        p.bench_load_path_ohm, p.bench_step_diode_v, p.bench_step_ohm + p.bench_step_switch_ohm};
}

} // namespace

PowerSide::PowerSide(const BoardParameters& p, BoardPower power)
    : p_(p), always_on_(power == BoardPower::kAlwaysOn), supply_(p), relays_(p), soft_start_(p),
      ic_(p), vertical_load_(vertical_coil(p), step_drive(p)),
      horizontal_load_(horizontal_coil(p), step_drive(p)) {
    if (!always_on_) {
        supply_.empty_rail();
        update_load_steps(0);
    }
}

void PowerSide::configure(const BoardParameters& p, double time_s) {
    p_ = p;
    supply_.configure(p);
    relays_.configure(p);
    soft_start_.configure(p);
    ic_.configure(p);
    vertical_load_.configure(vertical_coil(p), step_drive(p), time_s);
    horizontal_load_.configure(horizontal_coil(p), step_drive(p), time_s);
    fine_until_s_ = time_s + kFineAfterS;
}

void PowerSide::set_drive(double time_s, const BenchDrive& drive) {
    if (always_on_) {
        return;
    }
    drive_ = drive;
    relays_.set_drive(time_s, drive);
    update_load_steps(time_s);
}

void PowerSide::advance_relays(double time_s) {
    if (relays_.advance(time_s)) {
        update_load_steps(time_s);
        fine_until_s_ = time_s + kFineAfterS;
    }
}

void PowerSide::update_load_steps(double time_s) {
    const Contacts& c = relays_.contacts();
    const auto state = [&](bool on_board, bool driven) {
        return on_board ? LoadStep::State::kAway
                        : (c.k5 && driven ? LoadStep::State::kOn : LoadStep::State::kOff);
    };
    vertical_load_.set(time_s, state(c.k3, drive_.step_vertical));
    horizontal_load_.set(time_s, state(c.k4, drive_.step_horizontal));
}

void PowerSide::step_rail(double time_s, double dt_s, const Stages& stages) {
    if (!always_on_) {
        soft_start_.step(dt_s, relays_.contacts(), supply_.source_v(), supply_.rail_v(),
                         supply_.rail_a());
    }
    const double feed_ohm = (always_on_ ? 0 : soft_start_.ohm()) + p_.supply_joint_ohm;
    if (feed_ohm <= 0 && ic_.works()) {
        supply_.step(time_s, dt_s, stages.rail_a);
        return;
    }
    RailLoad load{stages.rail_a, 0, 0};
    if (ic_.destroyed()) {
        load.clamp_s = 1 / p_.vertical_ic_short_ohm;
    } else if (ic_.reversed()) {
        load.clamp_s = 1 / p_.vertical_ic_clamp_ohm;
        load.clamp_v = p_.vertical_ic_clamp_v;
    }
    supply_.step_fed(time_s, dt_s, load, feed_ohm);
}

void PowerSide::step(double time_s, double dt_s, const Stages& stages) {
    const double before_a = supply_.rail_a();
    step_rail(time_s, dt_s, stages);
    if (!always_on_) {
        relays_.see_current(time_s - dt_s, before_a, time_s, supply_.rail_a());
    }
    VerticalIc::Load load{stages.vertical_watts, stages.vertical_out_a, stages.vertical_up_a,
                          supply_.rail_v(), stages.sink_c};
    if (!ic_.works()) {
        load = {clamp_watts(), 0, supply_.clamp_a(), supply_.rail_v(), stages.sink_c};
    }
    ic_.step(time_s, dt_s, load);
}

double PowerSide::next_step_s(double time_s) const {
    const bool fine =
        !always_on_ && (time_s < fine_until_s_ || std::fabs(supply_.wanted_a() - supply_.rail_a()) >
                                                      kFineFromShare * p_.bench_over_current_a);
    return fine ? kFineStepS : kSlowStepS;
}

double PowerSide::clamp_watts() const {
    return ic_.works() ? 0 : supply_.clamp_a() * supply_.rail_v();
}

BoardParameters PowerSide::as_wired() const {
    BoardParameters p = p_;
    p.vertical_yoke_plug_ohm += vertical_on_board() ? 0 : kApartOhm;
    p.line_yoke_plug_ohm += horizontal_on_board() ? 0 : kApartOhm;
    return p;
}

} // namespace yokedock::sim
