// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/line_output.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::sim {

namespace {
constexpr int kMicrosecond = LinearFlow<5, 2, 1>::kLevelMicrosecond;
constexpr int kLongestMarch = 300; ///< us looked ahead for the end of a mode; longer means never
constexpr double kLongestSegmentS = 500e-6;
constexpr double kLeastDriveV = 2;  ///< rail below which there is no base drive
constexpr double kAtRestS = 500e-6; ///< without a retrace for so long: not running

/// So much resistance that its current follows within one step: a plug off. Left out of the
/// circuit.
bool open_yoke(const BoardParameters& p) {
    return (p.line_yoke_resistance_ohm + p.line_yoke_plug_ohm) * LinearFlow<5, 2, 1>::kUnitS >
           p.line_yoke_inductance_h;
}
} // namespace

LineOutput::LineOutput(const BoardParameters& p, double rail_v) : rail_v_(rail_v) {
    make_flows(p);
    Flow::State s{};
    s[kS] = s[kRail] = rail_v;
    s[kOne] = 1;
    enter(0, Mode::kOff, s);
}

void LineOutput::configure(const BoardParameters& p, double time_s) {
    run_until(time_s);
    const Segment& old = history_[newest_];
    const Mode mode = old.mode;
    Flow::State now = flow(mode).advance(old.state, std::max(0.0, time_s - old.begin_s));
    make_flows(p);
    if (open_yoke(p)) {
        now[kYoke] = now[kShort] = 0;
    }
    if (!(p.line_yoke_shorted_share > 0)) {
        now[kShort] = 0;
    }
    // Older instants would be read with the new values: the history starts afresh here.
    history_.fill({time_s, mode, now});
    enter(time_s, mode, now);
}

void LineOutput::make_flows(const BoardParameters& p) {
    p_ = p;
    // A share x of the turns bridged by a short is a coil of its own, coupled by k: (1-x)^2 L and
    // x^2 L, M = k x (1-x) L.
    const double x = p.line_yoke_shorted_share;
    const double k = x > 0 ? p.line_yoke_coupling : 0;
    const double l = (1 - x) * (1 - x) * (1 - k * k) * p.line_yoke_inductance_h;
    const double yoke_ohm = (1 - x) * p.line_yoke_resistance_ohm + p.line_yoke_plug_ohm;
    const double ratio = x > 0 ? k * (1 - x) / x : 0; // M / inductance of the shorted turns
    const double short_decay_s =
        x > 0 ? p.line_yoke_resistance_ohm / (x * p.line_yoke_inductance_h) : 0;
    const double lp = p.line_output_choke_h;
    for (const Mode mode : {Mode::kOff, Mode::kDamper, Mode::kOn}) {
        // Collector voltage = state kCollector while off, else knee + ohm * (yoke + choke current).
        const bool off = mode == Mode::kOff;
        const bool on = mode == Mode::kOn;
        const double knee = off ? 0 : (on ? p.line_output_saturation_v : -p.line_output_damper_v);
        const double ohm = off ? 0 : (on ? p.line_output_on_ohm : p.line_output_damper_ohm);
        Flow::Matrix a{};
        a[kYoke][kYoke] = -(yoke_ohm + ohm) / l;
        a[kYoke][kS] = 1 / l;
        a[kYoke][kChoke] = -ohm / l;
        a[kYoke][kCollector] = off ? -1 / l : 0;
        a[kYoke][kOne] = -knee / l;
        a[kYoke][kShort] = ratio * x * p.line_yoke_resistance_ohm / l;
        if (open_yoke(p)) {
            a[kYoke] = {};
        }
        for (std::size_t c = 0; c < Flow::kSize; ++c) {
            a[kShort][c] = -ratio * a[kYoke][c];
        }
        a[kShort][kShort] -= short_decay_s;
        a[kS][kYoke] = -1 / p.line_output_s_f;
        a[kChoke][kYoke] = -ohm / lp;
        a[kChoke][kChoke] = -(p.line_output_choke_ohm + ohm) / lp;
        a[kChoke][kCollector] = off ? -1 / lp : 0;
        a[kChoke][kRail] = 1 / lp;
        a[kChoke][kOne] = -knee / lp;
        if (off) {
            a[kCollector][kYoke] = 1 / p.line_output_retrace_f;
            a[kCollector][kChoke] = 1 / p.line_output_retrace_f;
            // A winding's load: what the primary sees lies between collector and rail.
            a[kCollector][kCollector] = -1 / (p.line_output_retrace_f * p.line_output_load_ohm);
            a[kCollector][kRail] = -a[kCollector][kCollector];
        }
        flows_[static_cast<std::size_t>(mode)].set(a, x > 0);
    }
}

double LineOutput::clamp_v(Mode mode, double total_a) const {
    return mode == Mode::kOn ? p_.line_output_saturation_v + p_.line_output_on_ohm * total_a
                             : -p_.line_output_damper_v + p_.line_output_damper_ohm * total_a;
}

void LineOutput::enter(double time_s, Mode mode, Flow::State state) {
    newest_ = (newest_ + 1) % history_.size();
    history_[newest_] = {time_s, mode, state};
    change_s_ = time_s + natural_end(history_[newest_]);
}

/// Moves s, whose margin is below 0, to where the margin reaches 0 within the next microsecond;
/// returns the time moved. Halves down to 31 ns, then a straight line: the waves bend by less than
/// 1e-5 of themselves there.
template <class Margin>
double LineOutput::refine(const Flow& flow, Flow::State& s, Margin margin) const {
    double moved = 0;
    for (int level = kMicrosecond - 1; level >= 0; --level) {
        const Flow::State next = flow.step(s, level);
        if (margin(next) < 0) {
            s = next;
            moved += Flow::kUnitS * (1 << level);
        }
    }
    const double before = margin(s);
    const double after = margin(flow.step(s, 0));
    const double rest =
        after > before ? Flow::kUnitS * std::clamp(-before / (after - before), 0.0, 1.0) : 0;
    s = flow.advance(s, rest);
    return moved + rest;
}

double LineOutput::natural_end(const Segment& segment) const {
    const Flow& f = flow(segment.mode);
    const double knee = -p_.line_output_damper_v;
    const auto margin = [&](const Flow::State& s) { // reaches 0 where the mode ends
        const double total_a = s[kYoke] + s[kChoke];
        switch (segment.mode) {
        case Mode::kOff:
            return total_a < 0 ? knee - s[kCollector] : -1;
        case Mode::kDamper:
            return total_a;
        case Mode::kOn:
            break;
        }
        return -1e-3 - total_a;
    };
    Flow::State s = segment.state;
    double t = 0;
    if (margin(s) >= 0) {
        return 0;
    }
    // Big strides first: only a retrace turns round within 8 us.
    const int stride = segment.mode == Mode::kOff ? 0 : 3;
    for (int level = stride; level >= 0; --level) {
        const double us = 1e-6 * (1 << level);
        while (t < kLongestMarch * 1e-6) {
            const Flow::State next = f.step(s, kMicrosecond + level);
            if (margin(next) >= 0) {
                break;
            }
            s = next;
            t += us;
        }
    }
    if (t >= kLongestMarch * 1e-6) {
        return INFINITY;
    }
    return t + refine(f, s, margin);
}

void LineOutput::run_until(double time_s) {
    while (change_s_ <= time_s) {
        const Segment& old = history_[newest_];
        Flow::State s = flow(old.mode).advance(old.state, change_s_ - old.begin_s);
        const Mode next =
            old.mode == Mode::kDamper ? (driven_ ? Mode::kOn : Mode::kOff) : Mode::kDamper;
        const double when = change_s_;
        s[kCollector] = 0;
        if (next == Mode::kDamper) {
            mean_choke_a_ = 0.5 * (s[kChoke] + choke_at_off_a_);
            mean_choke_s_ = when;
        }
        enter(when, next, s);
        if (change_s_ <= when) { // numerically at the border: do not loop at one instant
            change_s_ = when + 1e-9;
        }
    }
    const Segment& present = history_[newest_];
    if (time_s - present.begin_s >
        kLongestSegmentS) { // nothing switches: keep the way to any instant short
        Flow::State s = flow(present.mode).advance(present.state, time_s - present.begin_s);
        for (double& x : s) {
            x = std::fabs(x) < 1e-30 ? 0
                                     : x; // a stage rung out must not end in denormal arithmetic
        }
        enter(time_s, present.mode, s);
    }
}

LineOutput::Retrace LineOutput::switch_off(double time_s) {
    run_until(time_s);
    driven_ = false;
    const Segment& old = history_[newest_];
    if (old.mode != Mode::kOn) {
        return {}; // was not conducting: nothing to switch off
    }
    Flow::State s = flow(Mode::kOn).advance(old.state, time_s - old.begin_s);
    s[kCollector] = clamp_v(Mode::kOn, s[kYoke] + s[kChoke]);
    s[kRail] = rail_v_;
    choke_at_off_a_ = s[kChoke];
    enter(time_s, Mode::kOff, s);

    Retrace r;
    const double span = change_s_ - time_s;
    if (!(span < kLongestMarch * 1e-6)) {
        return r; // rings without ever reaching the damper: no pulse worth the name
    }
    r.pulse = {time_s, change_s_, 0};
    const Flow& f = flow(Mode::kOff);
    const double level = p_.bench_line_threshold_v;
    Flow::State before = s;
    const int steps = static_cast<int>(std::ceil(span * 1e6));
    for (int step = 0; step < steps; ++step) {
        const double t = step * 1e-6;
        const Flow::State after = f.step(before, kMicrosecond);
        if (!r.crosses && before[kCollector] < level && after[kCollector] >= level) {
            Flow::State x = before;
            r.rise_s = time_s + t + refine(f, x, [level](const Flow::State& y) {
                           return y[kCollector] - level;
                       });
            r.crosses = true;
        } else if (r.crosses && before[kCollector] >= level && after[kCollector] < level) {
            Flow::State x = before;
            r.fall_s = time_s + t + refine(f, x, [level](const Flow::State& y) {
                           return level - y[kCollector];
                       });
        }
        const double current = before[kYoke] + before[kChoke];
        if (current > 0 &&
            after[kYoke] + after[kChoke] <= 0) { // the collector turns where current does
            Flow::State x = before;
            refine(f, x, [](const Flow::State& y) { return -y[kYoke] - y[kChoke]; });
            r.pulse.peak_v = std::max(r.pulse.peak_v, x[kCollector]);
        }
        r.pulse.peak_v = std::max(r.pulse.peak_v, before[kCollector]);
        before = after;
    }
    r.crosses = r.crosses && r.fall_s > r.rise_s;
    return r;
}

bool LineOutput::switch_on(double time_s) {
    run_until(time_s);
    if (rail_v_ < kLeastDriveV || p_.line_drive_dead >= 0.5) {
        return false; // the driver lives on the rail, too
    }
    driven_ = true;
    const Segment& old = history_[newest_];
    if (old.mode != Mode::kOff) {
        return false; // the damper carries the current until it turns round
    }
    Flow::State s = flow(Mode::kOff).advance(old.state, time_s - old.begin_s);
    const bool cut_short = s[kCollector] > p_.bench_line_threshold_v;
    s[kCollector] = 0; // the transistor empties the retrace capacitor
    enter(time_s, s[kYoke] + s[kChoke] < 0 ? Mode::kDamper : Mode::kOn, s);
    return cut_short;
}

double LineOutput::mean_choke_a(double time_s) const {
    return time_s - mean_choke_s_ > kAtRestS ? at(time_s).choke_a : mean_choke_a_;
}

LineOutput::Point LineOutput::at(double time_s) const {
    std::size_t k = newest_;
    for (std::size_t n = 1; n < history_.size() && history_[k].begin_s > time_s; ++n) {
        k = (k + history_.size() - 1) % history_.size();
    }
    const Segment& segment = history_[k];
    const Flow::State s =
        flow(segment.mode).advance(segment.state, std::max(0.0, time_s - segment.begin_s));
    const double total_a = s[kYoke] + s[kChoke];
    const double collector =
        segment.mode == Mode::kOff ? s[kCollector] : clamp_v(segment.mode, total_a);
    return {s[kYoke], collector, s[kS], s[kChoke], segment.mode};
}

} // namespace yokedock::sim
