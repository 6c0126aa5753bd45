// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/vertical_output.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::sim {

namespace {

/// Smooth sign: -1 to 1, half-way hand-over around `width`.
double soft_sign(double x, double width) {
    return x / std::sqrt(x * x + width * width);
}

constexpr double kBiasedV = 5; ///< rail below which idle current and boost go with it

double mix(double a, double b, double part) {
    return a + (b - a) * part;
}

} // namespace

void RampGenerator::configure(const BoardParameters& p) {
    const double charge_ohm = p.ramp_fixed_ohm + p.ramp_height_ohm;
    const auto make = [&](double discharge_s) { // conductance across the stack
        const double out = 1 / charge_ohm + discharge_s + 1 / p.ramp_leak_ohm;
        LinearFlow<2, 1>::Matrix a{};
        a[0] = {-out / p.ramp_upper_f, -out / p.ramp_upper_f, 1 / (charge_ohm * p.ramp_upper_f)};
        a[1] = {-out / p.ramp_lower_f, -out / p.ramp_lower_f, 1 / (charge_ohm * p.ramp_lower_f)};
        a[1][0] += 1 / (p.ramp_linearity_ohm * p.ramp_lower_f);
        return a;
    };
    charge_flow_.set(make(0));
    reset_flow_.set(make(1 / p.ramp_reset_ohm));
    gain_ = p.ramp_drive_gain;
    bias_v_ = p.ramp_bias_v;
    s_level_v_ = p.ramp_s_level_v;
}

double RampGenerator::drive_v(const State& s) const {
    const double v = gain_ * (bias_v_ - s[0] - s[1]);
    const double bend = v / s_level_v_;
    return v / std::sqrt(1 + bend * bend);
}

VerticalOutput::VerticalOutput(const BoardParameters& p, double rail_v) : ramp_(p) {
    configure(p);
    set_rail(rail_v);
    state_.coupling_v = p.vertical_output_bias_ratio * rail_v;
    state_.boost_v = std::max(0.0, rail_v - p.vertical_output_boost_diode_v);
    state_.point.output_v = state_.coupling_v;
}

void VerticalOutput::configure(const BoardParameters& p) {
    p_ = p;
    configure_coil();
    ramp_.configure(p);
    state_.ramp[2] = p.ramp_supply_v;
    sense_ohm_ = p.vertical_output_sense_ohm;
    const double around = sense_ohm_ + p.vertical_output_damping_ohm;
    share_ = sense_ohm_ / around;
    yoke_share_ = p.vertical_output_damping_ohm / around;
    alpha_scale_ = 1 / (1 + p.vertical_output_gain * share_);
    stiffness_ohm_ = p.vertical_output_gain * yoke_share_ * sense_ohm_ * alpha_scale_;
    const double series_ohm =
        coil_ohm_ + yoke_share_ * (sense_ohm_ + p.vertical_output_coupling_esr_ohm);
    linear_s_ = yoke_share_ / (series_ohm + yoke_share_ * stiffness_ohm_);
    clipped_s_ = yoke_share_ / (series_ohm + yoke_share_ * p.vertical_output_saturation_ohm);
    shunt_s_ = 1 / around;
    whole_ = coefficients(kStepS);
    state_.drive_v = ramp_.drive_v(state_.ramp);
}

/// A share x of the turns bridged by a short is a coil of its own, coupled by k: (1-x)^2 L and x^2
/// L, M = k x (1-x) L. What it links can only decay through its resistance, so fast changes meet (1
/// - k^2) of the rest.
void VerticalOutput::configure_coil() {
    const double x = p_.vertical_yoke_shorted_share;
    const double k = p_.vertical_yoke_coupling;
    const double l = p_.vertical_yoke_inductance_h;
    coil_ohm_ = (1 - x) * p_.vertical_yoke_resistance_ohm + p_.vertical_yoke_plug_ohm;
    coil_h_ = (1 - x) * (1 - x) * l;
    const bool were_shorted = short_mutual_h_ > 0;
    short_mutual_h_ = 0;
    short_decay_s_ = 0;
    if (x > 0) {
        coil_h_ *= 1 - k * k;
        short_h_ = x * x * l;
        short_mutual_h_ = k * x * (1 - x) * l;
        short_decay_s_ = x * p_.vertical_yoke_resistance_ohm / short_h_;
        if (!were_shorted) { // nothing flows in them yet
            state_.short_flux = short_mutual_h_ * state_.point.yoke_a;
        }
    }
}

/// What the decaying flux of the shorted turns induces in the others; the same sign as the output.
double VerticalOutput::short_v(const State& s) const {
    const double loop_a = (s.short_flux - short_mutual_h_ * s.point.yoke_a) / short_h_;
    return short_mutual_h_ * short_decay_s_ * loop_a;
}

VerticalOutput::Coefficients VerticalOutput::coefficients(double dt_s) const {
    const double series_ohm =
        coil_ohm_ + yoke_share_ * (sense_ohm_ + p_.vertical_output_coupling_esr_ohm);
    const double l = coil_h_;
    const double clip_ohm = p_.vertical_output_saturation_ohm;
    const double boost_s = p_.vertical_output_boost_charge_ohm * p_.vertical_output_boost_f;
    return {dt_s, std::exp(-dt_s * (series_ohm + yoke_share_ * stiffness_ohm_) / l),
            std::exp(-dt_s * (series_ohm + yoke_share_ * clip_ohm) / l), std::exp(-dt_s / boost_s)};
}

void VerticalOutput::set_rail(double rail_v) {
    rail_v_ = rail_v;
    state_.ramp[2] = std::min(p_.ramp_supply_v, std::max(0.0, rail_v));
    lift_share_ = std::min(1.0, rail_v / kBiasedV);
}

/// The boost's diode stands between rail and output stage while nothing is lifted. A drop as large
/// as the rail stands for a stage without boost, straight on the rail.
double VerticalOutput::feed_drop_v() const {
    return p_.vertical_output_boost_diode_v < rail_v_ ? p_.vertical_output_boost_diode_v : 0;
}

/// The output as a source of `emf_v` behind `ohm`: the amplifier in control, or the rail it lies
/// against.
VerticalOutput::Source VerticalOutput::source(const State& s, const Coefficients& c,
                                              double drive_v) const {
    const double i = s.point.yoke_a;
    // The transistors hand over where their own current turns, not the yoke's: in retrace the
    // damping resistor takes a good part.
    const double sign = soft_sign(s.out_a, p_.vertical_output_crossover_a);
    const double bias_v = p_.vertical_output_bias_ratio * rail_v_;
    const double error_v =
        drive_v + share_ * s.coupling_v - p_.vertical_output_dc_feedback * (s.coupling_v - bias_v);
    const double emf_v =
        (bias_v - p_.vertical_output_crossover_v * sign + p_.vertical_output_gain * error_v) *
        alpha_scale_;
    const double wanted_v = emf_v - stiffness_ohm_ * i;

    const double knee_v = p_.vertical_output_saturation_v * sign;
    const double clip_ohm = p_.vertical_output_saturation_ohm;
    double top_v = rail_v_ - feed_drop_v();
    if (wanted_v > top_v - knee_v - clip_ohm * i) { // the boost switch closes
        const double lift_v =
            std::max(s.boost_v, 0.0) - p_.vertical_output_boost_switch_ohm * std::max(i, 0.0);
        top_v = std::max(top_v, rail_v_ + lift_v * lift_share_);
    }
    if (wanted_v > top_v - knee_v - clip_ohm * i) {
        return {top_v - knee_v, clip_ohm, c.clipped, clipped_s_};
    }
    if (wanted_v < -knee_v - clip_ohm * i) {
        return {-knee_v, clip_ohm, c.clipped, clipped_s_};
    }
    return {emf_v, stiffness_ohm_, c.linear, linear_s_};
}

/// What flowed in yoke and coupling capacitor dies in the damping resistor.
void VerticalOutput::step_dead(State& s, const Coefficients& c, bool whole,
                               Account* account) const {
    const LinearFlow<2, 1>& flow = ramp_.flow(reset_);
    s.ramp = whole ? flow.step(s.ramp, LinearFlow<2, 1>::kLevelMicrosecond + 1)
                   : flow.advance(s.ramp, c.dt_s);
    s.drive_v = ramp_.drive_v(s.ramp);
    const double loop_ohm = p_.vertical_output_damping_ohm + coil_ohm_;
    const double yoke_a = s.point.yoke_a * std::exp(-c.dt_s * loop_ohm / coil_h_);
    s.out_a = 0;
    s.short_flux = 0;
    s.coupling_v -= s.coupling_v * c.dt_s /
                    (p_.vertical_output_coupling_leak_ohm * p_.vertical_output_coupling_f);
    s.point = {s.point.time_s + c.dt_s, yoke_a, 0};
    if (account != nullptr) {
        account->seconds += c.dt_s;
    }
}

void VerticalOutput::step(State& s, const Coefficients& c, bool whole, Account* account) const {
    if (dead_) {
        step_dead(s, c, whole, account);
        return;
    }
    const double drive_before_v = s.drive_v;
    const LinearFlow<2, 1>& flow = ramp_.flow(reset_);
    s.ramp = whole ? flow.step(s.ramp, LinearFlow<2, 1>::kLevelMicrosecond + 1)
                   : flow.advance(s.ramp, c.dt_s);
    s.drive_v = ramp_.drive_v(s.ramp);

    const Source out = source(s, c, 0.5 * (drive_before_v + s.drive_v));
    const double induced_v = short_mutual_h_ > 0 ? short_v(s) / yoke_share_ : 0;
    const double end_a =
        out.loop_s * (out.emf_v - s.coupling_v + induced_v); // where the current would settle
    const double before_a = s.point.yoke_a;
    const double after_a = end_a + (before_a - end_a) * out.decay;
    const double mean_a = 0.5 * (before_a + after_a);
    const double mean_v = out.emf_v - out.ohm * mean_a;
    const double out_a = mean_a + (mean_v - s.coupling_v - sense_ohm_ * mean_a) * shunt_s_;
    const bool boosting = mean_v > rail_v_ - feed_drop_v() - p_.vertical_output_saturation_v -
                                       p_.vertical_output_saturation_ohm * std::fabs(after_a);
    if (account != nullptr) {
        const double from_v = rail_v_ + (boosting ? std::max(s.boost_v, 0.0) : 0.0);
        const double drop_v = out_a > 0 ? from_v - mean_v : (boosting ? 0 : -mean_v);
        const double idle_a = p_.vertical_output_quiescent_a * std::min(1.0, rail_v_ / kBiasedV);
        account->seconds += c.dt_s;
        // What the yoke gives back reaches the rail through the boost's switch alone.
        const double taken_a = out_a > 0 ? out_a : (boosting ? out_a * lift_share_ : 0);
        account->supply_c += (taken_a + idle_a) * c.dt_s;
        account->dissipated_j += (drop_v * out_a + rail_v_ * idle_a) * c.dt_s;
        account->most_out_a = std::max(account->most_out_a, std::fabs(out_a));
        account->most_up_a = std::max(account->most_up_a, std::max(out_a, 0.0) + idle_a);
    }
    s.coupling_v += c.dt_s / p_.vertical_output_coupling_f *
                    (out_a - s.coupling_v / p_.vertical_output_coupling_leak_ohm);
    if (short_mutual_h_ > 0) {
        s.short_flux -= short_decay_s_ * (s.short_flux - short_mutual_h_ * mean_a) * c.dt_s;
    }
    s.out_a = out_a;
    move_boost(s, c, boosting ? out_a : 0, boosting, account);
    s.point = {s.point.time_s + c.dt_s, after_a, out.emf_v - out.ohm * after_a};
}

/// The boost capacitor feeds the output while it lifts it, and is recharged from the rail at other
/// times.
void VerticalOutput::move_boost(State& s, const Coefficients& c, double out_a, bool boosting,
                                Account* account) const {
    const double full_v = rail_v_ - p_.vertical_output_boost_diode_v;
    if (boosting) {
        // Idle current of what stands on the lifted supply comes from it, too.
        s.boost_v -= (out_a + p_.vertical_output_quiescent_a) * c.dt_s / p_.vertical_output_boost_f;
        const double most_v = std::max(0.0, p_.vertical_output_breakdown_v - rail_v_);
        if (s.boost_v > most_v) { // the yoke's current goes on through the transistors
            if (account != nullptr) {
                account->dissipated_j += p_.vertical_output_boost_f * (s.boost_v - most_v) *
                                         p_.vertical_output_breakdown_v;
            }
            s.boost_v = most_v;
        }
    } else if (s.boost_v < full_v) {
        const double before_v = s.boost_v;
        s.boost_v = full_v + (s.boost_v - full_v) * c.boost;
        if (account != nullptr) {
            account->supply_c += (s.boost_v - before_v) * p_.vertical_output_boost_f;
        }
    }
    s.boost_v = std::max(s.boost_v, -p_.vertical_output_boost_diode_v);
}

void VerticalOutput::commit(const Point& before) {
    const Point& after = state_.point;
    newest_ = (newest_ + 1) % history_.size();
    history_[newest_] = after;
    const double half = 0.5 * p_.bench_field_hysteresis_v;
    const double level = p_.bench_field_threshold_v + (comparator_high_ ? -half : half);
    const bool high = after.output_v > level;
    if (high == comparator_high_) {
        return;
    }
    comparator_high_ = high;
    const double change = after.output_v - before.output_v;
    const double part = change == 0 ? 1 : std::clamp((level - before.output_v) / change, 0.0, 1.0);
    if (crossing_count_ < crossings_.size()) {
        crossings_[crossing_count_++] = {mix(before.time_s, after.time_s, part), high};
    }
}

void VerticalOutput::run_until(double time_s) {
    while (state_.point.time_s + kStepS <= time_s) {
        const Point before = state_.point;
        step(state_, whole_, true, &account_);
        commit(before);
    }
}

void VerticalOutput::set_reset(double time_s, bool reset) {
    run_until(time_s);
    const double rest = time_s - state_.point.time_s;
    if (rest > 0) {
        const Point before = state_.point;
        step(state_, coefficients(rest), false, &account_);
        commit(before);
    }
    reset_ = reset;
}

std::optional<VerticalOutput::Crossing> VerticalOutput::take_crossing() {
    if (crossing_count_ == 0) {
        return std::nullopt;
    }
    const Crossing first = crossings_[0];
    std::move(crossings_.begin() + 1, crossings_.end(), crossings_.begin());
    --crossing_count_;
    return first;
}

VerticalOutput::Account VerticalOutput::take_account() {
    const Account result = account_;
    account_ = {};
    return result;
}

VerticalOutput::Point VerticalOutput::at(double time_s) const {
    Point before = state_.point;
    Point after = before;
    if (time_s > before.time_s) {
        State ahead = state_;
        step(ahead, whole_, true, nullptr);
        after = ahead.point;
    } else {
        std::size_t k = newest_;
        for (std::size_t n = 0; n + 1 < history_.size() && before.time_s > time_s; ++n) {
            after = before;
            k = (k + history_.size() - 1) % history_.size();
            before = history_[k];
        }
    }
    const double span = after.time_s - before.time_s;
    const double part = span > 0 ? std::clamp((time_s - before.time_s) / span, 0.0, 1.0) : 0;
    return {time_s, mix(before.yoke_a, after.yoke_a, part),
            mix(before.output_v, after.output_v, part)};
}

} // namespace yokedock::sim
