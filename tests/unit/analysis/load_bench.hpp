// SPDX-License-Identifier: MIT
// A bench with errors of its own that steps current into coils, for the tests of the load step.
// Written down from formulas, never taken from the simulator: the current is a sum of exponentials,
// the input lag acts on it by partial fractions, samples come once a line.
#pragma once
#include "host/analysis/load_plan.hpp"
#include "host/analysis/load_step.hpp"
#include "shared/channels.hpp"
#include <algorithm>
#include <array>
#include <cmath>
#include <random>
#include <vector>

namespace load_bench {

using namespace yokedock::analysis;

/// Share `part` of the final current rises with tau_s.
struct Rise {
    double part;
    double tau_s;
};

/// What is plugged in. Source resistance belongs to the circuit, not to the coil.
struct Load {
    double ohm = 0;
    double henry = 0;
    double shorted_ohm = 0; ///< a coupled, shorted winding; henry of it 0: none
    double shorted_henry = 0;
    double coupling = 0;
    double parallel_ohm = 0; ///< across the coil; 0: none (not together with a shorted winding)
};

struct Response {
    double final_a = 0;
    std::vector<Rise> rises;
};

/// Closed form. Shorted winding: the poles of (R1 + s L1)(R2 + s L2) - s^2 M^2, with R1 the whole
/// resistance of the primary circuit; the parts from the first slope V / (L1 (1 - k^2)).
inline Response respond(const Load& load, double volts, double source_ohm) {
    const double r1 = load.ohm + source_ohm;
    if (load.parallel_ohm > 0) {
        const double both = load.ohm * load.parallel_ohm / (load.ohm + load.parallel_ohm);
        const double jump = volts / (source_ohm + load.parallel_ohm);
        const double end = volts / (source_ohm + both);
        const double seen = source_ohm * load.parallel_ohm / (source_ohm + load.parallel_ohm);
        return {end, {{1 - jump / end, load.henry / (load.ohm + seen)}, {jump / end, 1e-12}}};
    }
    if (!(load.shorted_henry > 0)) {
        return {volts / r1, {{1, load.henry / r1}}};
    }
    const double t1 = load.henry / r1;
    const double t2 = load.shorted_henry / load.shorted_ohm;
    const double leak = 1 - load.coupling * load.coupling;
    const double root = std::sqrt((t1 + t2) * (t1 + t2) - 4 * leak * t1 * t2);
    const double slow = (t1 + t2 + root) / 2;
    const double fast = leak * t1 * t2 / slow;
    // a / slow + (1 - a) / fast = 1 / (t1 leak)
    const double a = (1 / (t1 * leak) - 1 / fast) / (1 / slow - 1 / fast);
    return {volts / r1, {{a, slow}, {1 - a, fast}}};
}

/// A coil with a share x of its turns bridged by a short: what is left, and the ring beside it.
inline Load with_shorted_turns(double ohm, double henry, double x, double coupling) {
    Load load;
    load.ohm = (1 - x) * ohm;
    load.henry = (1 - x) * (1 - x) * henry;
    load.shorted_ohm = x * ohm;
    load.shorted_henry = x * x * henry;
    load.coupling = coupling;
    return load;
}

inline double through_lag(const Response& r, double t, double lag_s) {
    if (t <= 0) {
        return 0;
    }
    double sum = 0;
    for (const Rise& rise : r.rises) {
        const double tau = rise.tau_s * (std::abs(rise.tau_s / lag_s - 1) < 1e-6 ? 1 + 2e-6 : 1);
        sum += rise.part *
               (1 - (tau * std::exp(-t / tau) - lag_s * std::exp(-t / lag_s)) / (tau - lag_s));
    }
    return r.final_a * sum;
}

/// One channel with its drive: nominal values, standard uncertainties, noise.
struct Bench {
    std::string prefix;
    StepDrive drive;
    StepSamples claims; ///< without samples
    double noise_a = 0;
    StepLimits limits;
};

/// Drive 12 V behind 10.4 ohm (drive resistor, switch, relay, shunt), measured by meter; channels
/// as in the channel table, gain 0.5 and 0.8 % before calibration; noise 0.4 codes.
inline Bench bench(bool horizontal) {
    const auto& channel = yokedock::kChannels[horizontal ? 1 : 0];
    Bench b;
    b.prefix = std::string(1, horizontal ? 'h' : 'v');
    b.drive = {12.0, 0.03, 10.4, 0.05};
    const double volts_per_amp = channel.microvolts_per_unit * 1e-6;
    b.claims.prefix = b.prefix;
    b.claims.resolution_a = yokedock::kAdcReferenceMv * 1e-3 / yokedock::kAdcCodes / volts_per_amp;
    b.claims.gain_u_relative = channel.gain_tolerance_ppm * 1e-6;
    b.claims.zero_u_a = 0.3 * b.claims.resolution_a; // read with the drive off, 1.2 codes else
    b.claims.lag_s = channel.input_lag_ns * 1e-9;
    b.claims.lag_u_s = 0.05 * b.claims.lag_s;
    b.claims.origin_u_s = 20e-9;
    b.claims.clock_u_relative = yokedock::kClockTolerancePpm * 1e-6;
    b.claims.least_a = -2.5 / volts_per_amp;
    b.claims.most_a = 2.49 / volts_per_amp;
    b.noise_a = 0.4 * b.claims.resolution_a;
    return b;
}

/// What is really there, drawn once from what the bench claims of itself.
struct Truth {
    double volts, source_ohm, gain, zero_a, lag_s, origin_s, diode_v;
};

inline Truth draw_truth(const Bench& b, std::mt19937& random) {
    std::normal_distribution<double> normal(0, 1);
    Truth t{};
    t.volts = b.drive.volts + b.drive.volts_u * normal(random);
    t.source_ohm = b.drive.source_ohm + b.drive.source_ohm_u * normal(random);
    t.gain = 1 + b.claims.gain_u_relative * normal(random);
    t.zero_a = b.claims.zero_u_a * normal(random);
    t.lag_s = b.claims.lag_s + b.claims.lag_u_s * normal(random);
    t.origin_s = b.claims.origin_u_s * normal(random);
    t.diode_v = 0.35;
    return t;
}

/// Delays at which a run takes its samples, since the edge before or, in from_s .. 0, the one to
/// come: one sample a line, on whole ticks, the first edge anywhere in a line.
inline std::vector<double> delays(const StepPlan& plan, const StepLimits& limits,
                                  std::mt19937& random) {
    std::uniform_real_distribution<double> uniform(0, 1);
    const double line = limits.sample_period_s / limits.tick_s;
    const double period = static_cast<double>(plan.on_ticks) + plan.off_ticks;
    const double first = std::floor(uniform(random) * line);
    std::vector<double> list;
    for (int p = plan.skip_periods; p < plan.periods; ++p) {
        const double edge = first + p * period;
        const double from = edge + plan.from_s / limits.tick_s;
        const double to = edge + plan.to_s / limits.tick_s;
        for (double k = std::ceil(from / line); k * line < to; ++k) {
            list.push_back((std::floor(k * line) - edge) * limits.tick_s);
        }
    }
    return list;
}

inline double read_out(const Bench& b, double amps, std::mt19937& random) {
    std::normal_distribution<double> normal(0, 1);
    const double step = b.claims.resolution_a;
    const double seen = amps + b.noise_a * normal(random);
    return std::clamp(step * std::round(seen / step), b.claims.least_a, b.claims.most_a);
}

/// Current left over when the drive goes on, in the steady state of the plan's periods.
inline double left_over(const Load& load, const Truth& truth, const StepPlan& plan,
                        const StepLimits& limits) {
    const double r = load.ohm + truth.source_ohm;
    const double end = truth.volts / r;
    double start = 0;
    for (int k = 0; k < 20; ++k) {
        const double on = plan.on_ticks * limits.tick_s;
        const double off = plan.off_ticks * limits.tick_s;
        const double top = end + (start - end) * std::exp(-on * r / load.henry);
        const double shift = truth.diode_v / load.ohm;
        start = std::max(0.0, (top + shift) * std::exp(-off * load.ohm / load.henry) - shift);
    }
    return start;
}

/// A run as the bench would make it: plan's delays, thinned as samples_for() does, then read.
inline StepSamples run(const Bench& b, const Load& load, const Truth& truth, const StepPlan& plan,
                       std::mt19937& random, std::size_t most_in_window = 1000) {
    StepSamples all = b.claims;
    all.time_s = delays(plan, b.limits, random);
    all.amps.assign(all.time_s.size(), 0.0);
    StepSamples some = samples_for(plan, all, most_in_window);
    const Response response = respond(load, truth.volts, truth.source_ohm);
    const double start = plan.starts_from_zero || load.shorted_henry > 0
                             ? 0
                             : left_over(load, truth, plan, b.limits);
    for (std::size_t i = 0; i < some.time_s.size(); ++i) {
        const double part =
            through_lag(response, some.time_s[i] - truth.origin_s, truth.lag_s) / response.final_a;
        const double amps = start + (response.final_a - start) * part;
        some.amps[i] = read_out(b, truth.gain * amps + truth.zero_a, random);
    }
    return some;
}

/// First look, plan, precise look.
inline LoadStep measure(const Bench& b, const Load& load, const Truth& truth, std::mt19937& random,
                        std::size_t most_in_window = 1000) {
    const StepPlan look = plan_first_look(b.drive, b.limits);
    const StepSamples looked = run(b, load, truth, look, random, 400);
    const LoadStep first = measure_load_step(looked, b.drive);
    const StepPlan plan = plan_load_step(first, looked, b.drive, b.limits);
    return measure_load_step(run(b, load, truth, plan, random, most_in_window), b.drive);
}

inline double log_uniform(double low, double high, std::mt19937& random) {
    std::uniform_real_distribution<double> uniform(0, 1);
    return low * std::pow(high / low, uniform(random));
}

} // namespace load_bench
