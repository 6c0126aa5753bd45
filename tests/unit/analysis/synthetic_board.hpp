// SPDX-License-Identifier: MIT
// An observation as a bench takes it, of a board whose truth is written down here: 262 lines
// progressive, one sample per line, 16 MHz ticks, 10-bit codes. Formulas only; nothing of it comes
// from the simulator.
#pragma once
#include "shared/channels.hpp"
#include "tests/unit/analysis/synthetic.hpp"
#include <string>

namespace synthetic {

inline constexpr double kTick = 62.5e-9;

struct Board {
    double line_rate_hz = 15750;
    std::size_t lines = 262;
    double duration_s = 1.0;
    bool sync_on = true;
    bool stamps = true;       ///< comparators present
    double vertical_rate = 1; ///< board's field rate over sync's
    double horizontal_rate = 1;
    double field_jitter_s = 0.5e-6;
    double line_jitter_s = 40e-9;
    double field_phase_s = 200e-6; ///< retrace start after the field start
    double line_phase_s = 2e-6;
    double v_retrace_s = 600e-6;
    double h_retrace_s = 11e-6;
    double v_peak = 0.35;
    double h_peak = 1.2;
    double v_bend = 0.15; ///< a of 1 - exp(-a x)
    double v_offset = 0.01;
    double h_s_q = 0.4;    ///< sin(q x) trace
    double mains_hz = 50;  ///< beats with the field rate
    double ripple_v = 0.1; ///< amplitude at twice mains
    double size_hum = 0;   ///< amplitude, relative
    double rail_v = 24;
    double amps = 0.8;
    double celsius = 55;
    double reference_v = 2.5;
    double noise_v = 2e-3; ///< at the converter
    double lag_s = 0.4e-6;
    unsigned seed = 1;

    [[nodiscard]] double line_s() const { return 1 / line_rate_hz; }
    [[nodiscard]] double field_s() const { return static_cast<double>(lines) / line_rate_hz; }
    [[nodiscard]] double v_period() const { return field_s() / vertical_rate; }
    [[nodiscard]] double h_period() const { return line_s() / horizontal_rate; }

    /// Vertical current at a time after the start of retrace, without hum.
    [[nodiscard]] double vertical(double t) const {
        const double x = (t - v_retrace_s) / (v_period() - v_retrace_s);
        if (x < 0) {
            return v_offset + v_peak * (1 - 2 * t / v_retrace_s);
        }
        return v_offset + v_peak * (2 * (1 - std::exp(-v_bend * x)) / (1 - std::exp(-v_bend)) - 1);
    }
    /// The trace takes over at +-angle_s from the extremes, with matching value and slope.
    struct Joint {
        double angle_s, amplitude;
    };
    /// Line current after the start of its fall: trace A sin(q x) and a cosine that joins it
    /// smoothly, as in a damper output stage. h_peak is the current where the trace ends.
    [[nodiscard]] double retrace_omega() const { // from the extremes' distance: half a turn
        return M_PI / h_retrace_s;
    }
    [[nodiscard]] double horizontal(double t, const Joint& j) const {
        if (t < h_retrace_s + j.angle_s) {
            return j.amplitude * std::cos(retrace_omega() * t);
        }
        const double after = t - h_period();
        if (after > -j.angle_s) {
            return j.amplitude * std::cos(retrace_omega() * after);
        }
        const double trace = h_period() - h_retrace_s - 2 * j.angle_s;
        const double x = 2 * (t - h_retrace_s - j.angle_s) / trace - 1;
        return h_peak * std::sin(h_s_q * x) / std::sin(h_s_q);
    }
    [[nodiscard]] double horizontal(double t) const { return horizontal(t, joint()); }
    [[nodiscard]] Joint joint() const {
        double angle = 0;
        for (int i = 0; i < 50; ++i) { // slope of the trace at its end = slope of the cosine there
            const double trace = h_period() - h_retrace_s - 2 * angle;
            const double slope = 2 * h_s_q / std::tan(h_s_q) / trace; // relative to h_peak
            angle = std::atan(slope / retrace_omega()) / retrace_omega();
        }
        return {angle, h_peak / std::cos(retrace_omega() * angle)};
    }
    [[nodiscard]] yokedock::capture::Observation observe() const;
};

/// One pole by its step response, integrated over the past 12 lags with Simpson's rule.
template <class F> double lagged(const F& f, double t, double lag) {
    if (lag <= 0) {
        return f(t);
    }
    constexpr int kSteps = 48;
    double sum = 0;
    const double h = 12.0 / kSteps;
    for (int i = 0; i <= kSteps; ++i) {
        const double u = h * i;
        const double w = (i == 0 || i == kSteps) ? 1 : (i % 2 == 1 ? 4 : 2);
        sum += w * std::exp(-u) * f(t - lag * u);
    }
    return sum * h / 3;
}

inline double wrap(double t, double period) {
    const double x = std::fmod(t, period);
    return x < 0 ? x + period : x;
}

inline yokedock::capture::Observation Board::observe() const {
    using namespace yokedock;
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, 1);
    const auto tick = [](double t) { return kTick * std::floor(t / kTick); };
    capture::Observation o;
    o.sync_on = sync_on;
    o.line_rate_hz = line_rate_hz;
    o.field_rate_hz = 1 / field_s();
    o.clock_u_relative = 50e-6;
    const auto count = static_cast<std::size_t>(duration_s * line_rate_hz);
    for (std::size_t i = 0; i < count && sync_on; ++i) {
        o.sync.line_start_s.push_back(tick(line_s() * static_cast<double>(i)));
        if (i % lines == 0) {
            o.sync.field_start_s.push_back(o.sync.line_start_s.back());
            o.sync.field_mid_line.push_back(false);
        }
    }
    const auto edges = [&](double period, double phase, double width, double jitter,
                           capture::PulseTrain& train) {
        for (double t = phase; t + width < duration_s; t += period) {
            const double shift = jitter * normal(random);
            train.rise_s.push_back(tick(t + shift));
            train.fall_s.push_back(tick(t + shift + width));
        }
    };
    if (stamps) {
        edges(v_period(), field_phase_s, v_retrace_s, field_jitter_s, o.field_pulses);
        edges(h_period(), line_phase_s, h_retrace_s, line_jitter_s, o.line_pulses);
    }
    const auto v_current = [&](double t) {
        const double breath = 1 + size_hum * std::sin(2 * M_PI * 2 * mains_hz * t + 0.3);
        return breath * vertical(wrap(t - field_phase_s, v_period()));
    };
    const Joint corner = joint();
    const auto h_current = [&](double t) {
        return horizontal(wrap(t - line_phase_s, h_period()), corner);
    };
    const auto put = [&](ChannelId id, double t, double value, double lag) {
        const Channel& row = kChannels[static_cast<std::size_t>(id)];
        capture::Samples& s = o.channels[row.name];
        const double gain = row.law == ChannelLaw::kNtc ? 0.03 : row.microvolts_per_unit * 1e-6;
        const double zero = row.law == ChannelLaw::kNtc ? 0 : row.zero_mv * 1e-3;
        const double volts = zero + gain * value + noise_v * normal(random);
        const double code_v = kAdcReferenceMv * 1e-3 / kAdcCodes;
        const double code = std::clamp(std::round(volts / code_v), 0.0, kAdcCodes - 1.0);
        s.time_s.push_back(t);
        s.value.push_back((code * code_v - zero) / gain);
        s.resolution = code_v / gain;
        s.gain_u_relative = row.gain_tolerance_ppm * 1e-6;
        s.zero_u = row.zero_tolerance_uv * 1e-6 / gain;
        s.delay_s = lag;
    };
    for (std::size_t i = 0; i < count; ++i) {
        const double start = tick(line_s() * static_cast<double>(i));
        const double t = start + 25e-6;
        const double ripple = ripple_v * std::sin(2 * M_PI * 2 * mains_hz * t);
        switch (i % 7) {
        case 1:
            put(ChannelId::supply_v, t, rail_v + ripple, 0);
            break;
        case 3:
            put(ChannelId::supply_a, t, amps, 0);
            break;
        case 5:
            put(i % 2 != 0 ? ChannelId::heatsink_c : ChannelId::ref_v, t,
                i % 2 != 0 ? celsius : reference_v, 0);
            break;
        default:
            put(ChannelId::v_yoke_a, t, lagged(v_current, t, lag_s), lag_s);
        }
    }
    // A second stretch would hold the line ramp; here it shares the time: one sample per line,
    // places of 4 ticks.
    for (std::size_t i = 0; i < count / 2; ++i) {
        const double t =
            tick(line_s() * static_cast<double>(i)) +
            4 * kTick * static_cast<double>(i % static_cast<std::size_t>(line_s() / kTick / 4));
        put(ChannelId::h_yoke_a, t, lagged(h_current, t, lag_s), lag_s);
    }
    return o;
}

} // namespace synthetic
