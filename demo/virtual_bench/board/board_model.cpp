// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/board_model.hpp"
#include <algorithm>
#include <cmath>
#include <limits>

namespace yokedock::sim {

namespace {
constexpr double kNever = std::numeric_limits<double>::infinity();
std::uint64_t noise_seed(const BoardParameters& p, std::uint64_t which) {
    return static_cast<std::uint64_t>(p.bench_noise_seed) * 16 + which;
}
} // namespace

BoardModel::BoardModel(const BoardParameters& p, BoardPower power,
                       const std::vector<FaultUse>& live)
    : live_(p, live, p.thermal_start_c), p_(live_.parameters()), power_(p_, power), heat_sink_(p_),
      separator_(p_), oscillator_(p_, noise_seed(p, 1)),
      vertical_(power_.as_wired(), power_.stage_v()), afc_(p_, noise_seed(p, 2)),
      line_(power_.as_wired(), power_.stage_v()), off_s_(kNever), on_s_(kNever) {
    vertical_.set_dead(!power_.vertical_ic().drives());
    oscillator_.set_temperature(heat_sink_.oscillator_rise_k());
    afc_.set_temperature(heat_sink_.oscillator_rise_k());
    advance(kSettleS, false);
    while (!edges_.empty() && edges_.front().time_s < kSettleS) {
        edges_.pop_front();
    }
}

void BoardModel::configure(const BoardParameters& p) {
    live_.set_healthy(p);
    use(live_.parameters());
}

void BoardModel::look_at_faults() {
    // Not before the moment itself, whatever the sum of times rounds to.
    const double time_s = std::max(now_s_ - kSettleS, live_.next_look_s());
    if (live_.look(time_s, heat_sink_.celsius())) {
        use(live_.parameters());
    }
}

void BoardModel::use(const BoardParameters& p) {
    if (now_s_ > last_slow_s_) {
        slow_step(); // the rail up to now with the old values
    }
    p_ = p;
    power_.configure(p, now_s_);
    vertical_.set_dead(!power_.vertical_ic().drives());
    heat_sink_.configure(p);
    separator_.configure(p);
    oscillator_.configure(p);
    afc_.configure(p);
    configure_stages();
    update_separator();
    next_slow_s_ = std::min(next_slow_s_, now_s_ + power_.next_step_s(now_s_));
}

void BoardModel::configure_stages() {
    const BoardParameters wired = power_.as_wired();
    vertical_.configure(wired);
    line_.configure(wired, now_s_);
}

void BoardModel::set_drive(double time_s, const BenchDrive& drive) {
    const double t = time_s + kSettleS;
    if (t > now_s_) {
        advance(t, false);
    }
    power_.set_drive(t, drive);
}

std::optional<PinChange> BoardModel::take_over_current() {
    auto change = power_.relays().take_pin_change();
    if (change) {
        change->time_s -= kSettleS;
    }
    return change;
}

IcStress BoardModel::ic_stress() const {
    IcStress stress = power_.vertical_ic().stress();
    stress.died_s -= kSettleS;
    return stress;
}

void BoardModel::set_sync_tip(double time_s, bool tip) {
    const double t = std::max(now_s_, time_s + kSettleS);
    advance(t, false);
    separator_.set_tip(t, tip);
    update_separator();
}

void BoardModel::update_separator() {
    if (separator_.on() != separator_on_) {
        separator_on_ = separator_.on();
        oscillator_.set_sync(now_s_, separator_on_);
        afc_.set_sync(now_s_, separator_on_);
    }
}

void BoardModel::queue(const RetraceEdge& edge) {
    const auto later = std::upper_bound(
        edges_.begin(), edges_.end(), edge.time_s,
        [](double time_s, const RetraceEdge& other) { return time_s < other.time_s; });
    edges_.insert(later, edge);
}

void BoardModel::run_vertical(double time_s) {
    while (const auto transition = oscillator_.run_until(time_s)) {
        vertical_.set_reset(transition->time_s, transition->discharging);
    }
    vertical_.run_until(time_s);
    while (const auto crossing = vertical_.take_crossing()) {
        if (power_.vertical_on_board()) { // the comparators watch the loads' terminals
            queue({crossing->time_s + p_.bench_field_delay_s, false, crossing->rising});
        }
    }
}

void BoardModel::switch_line_off() {
    off_s_ = kNever;
    const LineOutput::Retrace retrace = line_.switch_off(now_s_);
    if (retrace.pulse.begin_s < 0) {
        return;
    }
    last_retrace_ = retrace.pulse;
    afc_.set_retrace(retrace.pulse);
    if (retrace.crosses && power_.horizontal_on_board()) {
        queue({retrace.rise_s + p_.bench_line_delay_s, true, true});
        queue({retrace.fall_s + p_.bench_line_delay_s, true, false});
    }
}

void BoardModel::switch_line_on() {
    on_s_ = kNever;
    if (!line_.switch_on(now_s_)) {
        return;
    }
    // Retrace was cut short: its comparator falls now, not when it would have.
    const double fall_s = now_s_ + p_.bench_line_delay_s;
    const auto earlier = [](const RetraceEdge& x, const RetraceEdge& y) {
        return x.time_s < y.time_s;
    };
    // Only what is still to come: many past edges may lie here, not asked for.
    const auto to_come =
        std::lower_bound(edges_.begin(), edges_.end(), RetraceEdge{now_s_, true, false}, earlier);
    for (auto edge = to_come; edge != edges_.end(); ++edge) {
        if (edge->line && !edge->rising && edge->time_s > fall_s) {
            edge->time_s = fall_s;
        }
    }
    std::stable_sort(to_come, edges_.end(), earlier);
}

void BoardModel::slow_step() {
    const VerticalOutput::Account account = vertical_.take_account();
    const double seconds = std::max(account.seconds, 1e-9);
    const double watts = account.dissipated_j / seconds;
    // The usual step counts as its nominal length, whatever the sum of its times rounds to.
    const double since_s = now_s_ - last_slow_s_;
    const double dt_s = std::fabs(since_s - kSlowStepS) < 1e-12 ? kSlowStepS : since_s;
    last_slow_s_ = now_s_;
    power_.step(now_s_, dt_s,
                {account.supply_c / seconds + line_.mean_choke_a(now_s_), watts, account.most_out_a,
                 account.most_up_a, heat_sink_.case_c()});
    if (now_s_ > kSettleS) { // before time 0 the heat sink is held at its starting temperature
        heat_sink_.step(dt_s, watts + power_.clamp_watts());
    }
    vertical_.set_dead(!power_.vertical_ic().drives());
    vertical_.set_rail(power_.stage_v());
    line_.set_rail(power_.stage_v());
    oscillator_.set_temperature(heat_sink_.oscillator_rise_k());
    afc_.set_temperature(heat_sink_.oscillator_rise_k());
    const double rail_error_v = power_.rail_v() - p_.supply_regulated_v;
    oscillator_.set_supply_error(p_.vertical_oscillator_rail_share * rail_error_v);
    afc_.set_reference_error(p_.line_oscillator_rail_share * rail_error_v);
    slow_newest_ = (slow_newest_ + 1) % slow_.size();
    slow_[slow_newest_] = {now_s_, power_.rail_v(), power_.rail_a()};
    next_slow_s_ = now_s_ + power_.next_step_s(now_s_);
}

/// The rail is brought up to now with the contacts as they were, then they move.
void BoardModel::move_relays() {
    if (now_s_ > last_slow_s_) {
        slow_step();
    }
    const bool vertical = power_.vertical_on_board();
    const bool horizontal = power_.horizontal_on_board();
    power_.advance_relays(now_s_);
    if (vertical != power_.vertical_on_board() || horizontal != power_.horizontal_on_board()) {
        configure_stages();
    }
    next_slow_s_ = std::min(next_slow_s_, now_s_ + power_.next_step_s(now_s_));
}

void BoardModel::advance(double limit_s, bool stop_at_edge) {
    while (now_s_ < limit_s) {
        double next = std::min({limit_s, next_slow_s_, separator_.next_drop_s(), off_s_, on_s_,
                                std::max(now_s_, power_.next_change_s()),
                                std::max(now_s_, live_.next_look_s() + kSettleS)});
        if (stop_at_edge && !edges_.empty()) {
            if (edges_.front().time_s <= now_s_) {
                return;
            }
            next = std::min(next, edges_.front().time_s);
        }
        if (const auto cycle = afc_.run_until(next)) {
            next = *cycle;
            off_s_ = next + p_.line_drive_storage_s;
            on_s_ = next + p_.line_drive_on_phase / afc_.free_running_hz();
        }
        run_vertical(next);
        line_.run_until(next);
        separator_.advance(next);
        now_s_ = next;
        update_separator();
        if (now_s_ >= off_s_) {
            switch_line_off();
        }
        if (now_s_ >= on_s_) {
            switch_line_on();
        }
        if (now_s_ >= power_.next_change_s()) {
            move_relays();
        }
        if (now_s_ >= next_slow_s_) {
            slow_step();
        }
        if (now_s_ >= live_.next_look_s() + kSettleS) {
            look_at_faults();
        }
    }
}

std::optional<RetraceEdge> BoardModel::run_until(double limit_s) {
    const double limit = limit_s + kSettleS;
    advance(limit, true);
    if (edges_.empty() || edges_.front().time_s > limit) {
        return std::nullopt;
    }
    RetraceEdge edge = edges_.front();
    edges_.pop_front();
    edge.time_s -= kSettleS;
    return edge;
}

VerticalOutput::Point BoardModel::vertical_at(double time_s) const {
    VerticalOutput::Point point = vertical_.at(time_s + kSettleS);
    point.time_s = time_s;
    return point;
}

LineRetrace BoardModel::last_retrace() const {
    LineRetrace r = last_retrace_;
    r.begin_s -= kSettleS;
    r.end_s -= kSettleS;
    return r;
}

/// Straight line between the slow steps around time_s.
double BoardModel::slow_quantity(ChannelId channel, double time_s) const {
    const double t = time_s + kSettleS;
    const Slow* after = &slow_[slow_newest_];
    const Slow* before = after;
    for (std::size_t n = 1; n < slow_.size() && before->time_s > t; ++n) {
        after = before;
        before = &slow_[(slow_newest_ + slow_.size() - n) % slow_.size()];
    }
    const double span = after->time_s - before->time_s;
    const double part = span > 0 ? std::clamp((t - before->time_s) / span, 0.0, 1.0) : 0;
    const auto member = channel == ChannelId::supply_v ? &Slow::rail_v : &Slow::rail_a;
    return before->*member + part * (after->*member - before->*member);
}

double BoardModel::quantity(ChannelId channel, double time_s) const {
    const bool vertical = power_.vertical_on_board();
    const bool horizontal = power_.horizontal_on_board();
    const double t = time_s + kSettleS;
    switch (channel) {
    case ChannelId::v_yoke_a: // shunt in the ground leg: positive at the bottom of the picture
        return vertical ? -vertical_at(time_s).yoke_a : power_.vertical_load().current_a(t);
    case ChannelId::h_yoke_a:
        return horizontal ? line_at(time_s).yoke_a : power_.horizontal_load().current_a(t);
    case ChannelId::supply_v:
    case ChannelId::supply_a:
        return slow_quantity(channel, time_s);
    case ChannelId::v_out_v:
        return vertical ? vertical_at(time_s).output_v : power_.vertical_load().terminal_v(t);
    case ChannelId::h_peak_v:
        return horizontal && time_s - last_retrace().begin_s < 1e-3 ? last_retrace_.peak_v : 0;
    case ChannelId::heatsink_c:
        return heat_sink_.celsius();
    case ChannelId::ref_v:
        break;
    }
    return 1e-6 * kReferenceUv;
}

} // namespace yokedock::sim
