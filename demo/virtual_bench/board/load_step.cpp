// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/load_step.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::sim {

namespace {
constexpr double kNoCurrentA = 1e-9;
}

LoadStep::LoadStep(const Coil& coil, const StepDrive& drive) : coil_(coil), drive_(drive) {}

void LoadStep::configure(const Coil& coil, const StepDrive& drive, double time_s) {
    const State state = history_[newest_].state;
    coil_ = coil;
    drive_ = drive;
    history_.fill({});
    begin(time_s, state, {});
}

/// L1 i1' + M i2' = V - r1 i1, M i1' + L2 i2' = -r2 i2, by the two eigenvalues of the system.
LoadStep::Currents LoadStep::evolve(const Currents& from, double volts, double loop_ohm,
                                    double dt_s) const {
    const double x = coil_.shorted_share;
    const double r1 = loop_ohm + (1 - x) * coil_.ohm;
    const double l1 = (1 - x) * (1 - x) * coil_.henry;
    const double end_a = volts / r1;
    if (x <= 0) {
        return {end_a + (from.coil_a - end_a) * std::exp(-dt_s * r1 / l1), 0};
    }
    const double r2 = x * coil_.ohm;
    const double l2 = x * x * coil_.henry;
    const double m = coil_.coupling * x * (1 - x) * coil_.henry;
    const double det = l1 * l2 - m * m;
    // y' = A y for y = (i1 - end, i2)
    const double a11 = -r1 * l2 / det;
    const double a12 = r2 * m / det;
    const double a21 = r1 * m / det;
    const double a22 = -r2 * l1 / det;
    const double half = 0.5 * (a11 + a22);
    const double root = std::sqrt(0.25 * (a11 - a22) * (a11 - a22) + a12 * a21);
    const double fast = half - root;
    const double slow = (a11 * a22 - a12 * a21) / fast; // not half + root: that cancels
    const double y1 = from.coil_a - end_a;
    const double y2 = from.ring_a;
    const double spread = slow - fast;
    if (spread < 1e-9 * std::fabs(fast)) { // without coupling and of equal time constants
        const double e = std::exp(fast * dt_s);
        return {end_a + e * y1, e * y2};
    }
    const double es = std::exp(slow * dt_s) / spread;
    const double ef = std::exp(fast * dt_s) / spread;
    const double z1 = a11 * y1 + a12 * y2;
    const double z2 = a21 * y1 + a22 * y2;
    return {end_a + es * (z1 - fast * y1) - ef * (z1 - slow * y1),
            es * (z2 - fast * y2) - ef * (z2 - slow * y2)};
}

/// No way for the coil's current: only the shorted turns go on.
LoadStep::Currents LoadStep::coasting(const Currents& from, double dt_s) const {
    const double x = coil_.shorted_share;
    return {0, x > 0 ? from.ring_a * std::exp(-dt_s * coil_.ohm / (x * coil_.henry)) : 0};
}

void LoadStep::begin(double time_s, State state, const Currents& from) {
    Segment next{time_s, state, from, 0, from};
    if (state == State::kAway) {
        // The contact cuts the current; what it kept up in the shorted turns stays there.
        const double ratio = coil_.shorted_share > 0
                                 ? coil_.coupling * (1 - coil_.shorted_share) / coil_.shorted_share
                                 : 0;
        next.at_begin = next.at_dead = {0, from.ring_a + ratio * from.coil_a};
    } else if (state == State::kOff && from.coil_a > kNoCurrentA) {
        const auto coil_a = [&](double dt_s) {
            return evolve(from, -drive_.diode_v, drive_.off_ohm, dt_s).coil_a;
        };
        double high_s = 1e-6;
        while (coil_a(high_s) > 0 && high_s < 1e3) {
            high_s *= 2;
        }
        double low_s = 0;
        for (int k = 0; k < 60; ++k) {
            const double middle_s = 0.5 * (low_s + high_s);
            (coil_a(middle_s) > 0 ? low_s : high_s) = middle_s;
        }
        next.coil_dead_s = high_s;
        next.at_dead = evolve(from, -drive_.diode_v, drive_.off_ohm, high_s);
    }
    newest_ = (newest_ + 1) % history_.size();
    history_[newest_] = next;
}

LoadStep::Currents LoadStep::at(const Segment& segment, double time_s) const {
    const double dt_s = std::max(0.0, time_s - segment.begin_s);
    if (segment.state == State::kOn) {
        return evolve(segment.at_begin, drive_.volts, drive_.on_ohm, dt_s);
    }
    if (dt_s < segment.coil_dead_s) {
        return evolve(segment.at_begin, -drive_.diode_v, drive_.off_ohm, dt_s);
    }
    return coasting(segment.at_dead, dt_s - segment.coil_dead_s);
}

void LoadStep::set(double time_s, State state) {
    const Segment& last = history_[newest_];
    if (state == last.state) {
        return;
    }
    const double t = std::max(time_s, last.begin_s);
    begin(t, state, at(last, t));
}

const LoadStep::Segment& LoadStep::segment_at(double time_s) const {
    std::size_t k = newest_;
    for (std::size_t n = 1; n < history_.size() && history_[k].begin_s > time_s; ++n) {
        k = (k + history_.size() - 1) % history_.size();
    }
    return history_[k];
}

double LoadStep::current_a(double time_s) const {
    return at(segment_at(time_s), time_s).coil_a;
}

double LoadStep::terminal_v(double time_s) const {
    const Segment& segment = segment_at(time_s);
    const double a = at(segment, time_s).coil_a;
    if (segment.state == State::kOn) {
        return drive_.volts - drive_.series_ohm * a;
    }
    return a > kNoCurrentA ? -drive_.diode_v : 0;
}

} // namespace yokedock::sim
