// SPDX-License-Identifier: MIT
// Signals of known truth for the analysis tests. Written down from formulas, never taken from the
// simulator.
#pragma once
#include "host/analysis/fold.hpp"
#include "host/capture/observation.hpp"
#include <cmath>
#include <functional>
#include <random>

namespace synthetic {

using Waveform = std::function<double(double)>; // value at a time since the period's start

/// A sawtooth with its retrace first: falls from +peak to -peak in `retrace_s`, then rises as
/// `trace` says (trace maps 0..1 to -1..1).
struct Sawtooth {
    double period_s = 0;
    double retrace_s = 0;
    double peak = 1;
    double offset = 0;
    std::function<double(double)> trace = [](double x) { return 2 * x - 1; };

    [[nodiscard]] double operator()(double t) const {
        double phase = std::fmod(t, period_s);
        phase += phase < 0 ? period_s : 0;
        if (phase < retrace_s) {
            return offset + peak * std::cos(M_PI * phase / retrace_s);
        }
        return offset + peak * trace((phase - retrace_s) / (period_s - retrace_s));
    }
};

inline double quantise(double value, double step) {
    return step > 0 ? step * std::round(value / step) : value;
}

inline std::vector<double> times(double from, double step, std::size_t count) {
    std::vector<double> t(count);
    for (std::size_t i = 0; i < count; ++i) {
        t[i] = from + step * static_cast<double>(i);
    }
    return t;
}

inline yokedock::capture::Samples sample(const Waveform& f, const std::vector<double>& t,
                                         double noise, double step, std::mt19937& random) {
    std::normal_distribution<double> normal(0, 1);
    yokedock::capture::Samples s;
    s.time_s = t;
    s.resolution = step;
    for (const double x : t) {
        const double disturbed = f(x) + (noise > 0 ? noise * normal(random) : 0);
        s.value.push_back(quantise(disturbed, step));
    }
    return s;
}

/// Share of pairs whose error lies within 2 u.
struct Coverage {
    int inside = 0;
    int total = 0;
    double sum_error2 = 0;
    double sum_u2 = 0;
    double sum_error = 0;
    void add(double value, double u, double truth) {
        inside += std::abs(value - truth) <= 2 * u ? 1 : 0;
        ++total;
        sum_error2 += (value - truth) * (value - truth);
        sum_error += value - truth;
        sum_u2 += u * u;
    }
    [[nodiscard]] double share() const { return static_cast<double>(inside) / total; }
    [[nodiscard]] double rms_error() const { return std::sqrt(sum_error2 / total); }
    [[nodiscard]] double rms_u() const { return std::sqrt(sum_u2 / total); }
    [[nodiscard]] double mean_error() const { return sum_error / total; }
};

} // namespace synthetic
