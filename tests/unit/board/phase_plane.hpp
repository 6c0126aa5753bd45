// SPDX-License-Identifier: MIT
// The textbook second-order phase-locked loop with a sine detector, integrated numerically: the
// reference that the board's loop is held against. Knows nothing of the board model.
#pragma once
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace yokedock::sim {

/// Runge and Kutta's classic step of fourth order (any numerical text).
template <class State, class Rates> void runge_kutta_step(State& y, double h, Rates rates) {
    const auto moved = [&y](const State& d, double by) {
        State out = y;
        for (std::size_t k = 0; k < y.size(); ++k) {
            out[k] += by * d[k];
        }
        return out;
    };
    const State k1 = rates(y);
    const State k2 = rates(moved(k1, h / 2));
    const State k3 = rates(moved(k2, h / 2));
    const State k4 = rates(moved(k3, h));
    for (std::size_t k = 0; k < y.size(); ++k) {
        y[k] += h / 6 * (k1[k] + 2 * k2[k] + 2 * k3[k] + k4[k]);
    }
}

/// Type 2 in units of 1/wn: phi' = dw - x - 2 zeta sin(phi), x' = sin(phi). State: phi, x.
struct TypeTwo {
    double zeta;
    double dw;
    std::array<double, 2> y{};
    void step(double h) {
        runge_kutta_step(y, h, [this](const std::array<double, 2>& s) {
            return std::array<double, 2>{dw - s[1] - 2 * zeta * std::sin(s[0]), std::sin(s[0])};
        });
    }
};

/// Loop gain K (rad/s) into a resistance, then a capacitor c1 beside r2 and c2 in series:
/// phi' = dw - K v, c1 v' = (sin(phi) - v)/rs - (v - u)/r2, c2 u' = (v - u)/r2. State: phi, v, u.
struct LagLead {
    double gain;
    double rs;
    double c1;
    double r2;
    double c2;
    double dw = 0;
    std::array<double, 3> y{};
    void step(double h) {
        runge_kutta_step(y, h, [this](const std::array<double, 3>& s) {
            const double branch = (s[1] - s[2]) / r2;
            return std::array<double, 3>{dw - gain * s[1],
                                         ((std::sin(s[0]) - s[1]) / rs - branch) / c1, branch / c2};
        });
    }
};

/// Number of the period between two unstable phases (odd multiples of pi) that a phase lies in.
inline double slip_number(double phi) {
    return std::floor(phi / (2 * std::numbers::pi) + 0.5);
}

/// Time of the last passage through an unstable phase, up to end.
inline double last_slip(TypeTwo loop, double step, double end) {
    double last = 0;
    for (long n = 1; static_cast<double>(n) * step < end; ++n) {
        const double before = slip_number(loop.y[0]);
        loop.step(step);
        last = slip_number(loop.y[0]) != before ? static_cast<double>(n) * step : last;
    }
    return last;
}

} // namespace yokedock::sim
