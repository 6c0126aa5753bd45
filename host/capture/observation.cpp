// SPDX-License-Identifier: MIT
#include "host/bench/channel_codes.hpp"
#include "host/capture/line_starts.hpp"
#include "host/capture/raw_capture.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::capture {
namespace {

using wire::BlockKind;

using bench::kCodeV;
using bench::ntc_celsius;
using bench::volts_of;

/// Degrees per volt at these volts, as a positive number.
double ntc_slope(double volts) {
    return std::abs(ntc_celsius(volts + kCodeV / 2) - ntc_celsius(volts - kCodeV / 2)) / kCodeV;
}

double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Seconds on the measurement's axis: 0 is the begin of its first capture.
class TimeAxis {
  public:
    TimeAxis(const RawMeasurement& measurement)
        : clock_hz_(measurement.bench.true_clock_hz()),
          origin_(measurement.captures.empty() ? 0 : measurement.captures.front().begin_ticks) {}
    [[nodiscard]] double operator()(std::int64_t ticks) const {
        return static_cast<double>(ticks - origin_) / clock_hz_;
    }

  private:
    double clock_hz_;
    std::int64_t origin_;
};

/// Linear channel: time and value of its codes.
void fill_linear(Samples& samples, const ChannelScale& scale) {
    for (double& value : samples.value) {
        value = (value - scale.zero_v) / scale.volts_per_unit;
    }
    const double gain = std::abs(scale.volts_per_unit);
    samples.resolution = kCodeV / gain;
    samples.zero_u = scale.zero_u_v / gain;
}

/// NTC channel. Codes at the ends of the range are an open or shorted sensor, no temperature: left
/// out. A calibration of this channel corrects the voltage: volts' = (volts - zero_v) /
/// volts_per_unit.
void fill_ntc(Samples& samples, const ChannelScale& scale) {
    Samples kept;
    std::vector<double> volts;
    for (std::size_t i = 0; i < samples.value.size(); ++i) {
        const double at_input = samples.value[i];
        const double corrected = (at_input - scale.zero_v) / scale.volts_per_unit;
        const bool at_end = at_input < 1.5 * kCodeV || at_input > (kAdcCodes - 2.5) * kCodeV;
        if (!at_end && corrected > kCodeV && corrected < (kAdcCodes - 1) * kCodeV) {
            kept.time_s.push_back(samples.time_s[i]);
            kept.value.push_back(ntc_celsius(corrected));
            volts.push_back(corrected);
        }
    }
    samples.time_s = std::move(kept.time_s);
    samples.value = std::move(kept.value);
    if (!volts.empty()) {
        const double slope =
            ntc_slope(median(volts)); // the law is bent: stated where the samples are
        samples.resolution = kCodeV * slope / std::abs(scale.volts_per_unit);
        samples.zero_u = scale.zero_u_v * slope / std::abs(scale.volts_per_unit);
    }
}

void add_samples(const RawMeasurement& measurement, const TimeAxis& axis,
                 Observation& observation) {
    std::array<Samples, kChannelCount> all;
    for (const RawCapture& capture : measurement.captures) {
        for (std::size_t i = 0; i < capture.samples.ticks.size(); ++i) {
            Samples& samples = all[capture.samples.channel[i] % kChannelCount];
            samples.time_s.push_back(axis(capture.samples.ticks[i] + capture.aperture_ticks));
            samples.value.push_back(volts_of(capture.samples.code[i]));
        }
    }
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        const ChannelScale& scale = measurement.bench.scale[i];
        all[i].gain_u_relative = scale.gain_u_relative;
        all[i].delay_s = scale.delay_s;
        all[i].calibrated = scale.calibrated;
        kChannels[i].law == ChannelLaw::kNtc ? fill_ntc(all[i], scale) : fill_linear(all[i], scale);
        if (!all[i].time_s.empty()) {
            observation.channels[kChannels[i].name] = std::move(all[i]);
        }
    }
}

/// Edges of one retrace input; edges_of and mode_of choose which.
template <class EdgesOf, class ModeOf>
PulseTrain pulses(const RawMeasurement& measurement, const TimeAxis& axis, BlockKind kind,
                  EdgesOf edges_of, ModeOf mode_of) {
    PulseTrain train;
    train.resolution_s = 1.0 / measurement.bench.true_clock_hz();
    double watched_until =
        axis(measurement.captures.empty() ? 0 : measurement.captures.front().begin_ticks);
    for (const RawCapture& capture : measurement.captures) {
        if (mode_of(capture.settings) == 0) {
            continue;
        }
        if (axis(capture.begin_ticks) > watched_until) {
            train.unwatched.push_back({watched_until, axis(capture.begin_ticks)});
        }
        if (kind == BlockKind::kLineEdges &&
            mode_of(capture.settings) == static_cast<std::uint8_t>(wire::EdgeMode::kBoth)) {
            // Two stamps per line are more than the device promises to take: pulse widths are good,
            // but an absent edge means nothing there.
            train.unwatched.push_back({axis(capture.begin_ticks), axis(capture.end_ticks)});
        }
        for (const RawGap& gap : capture.gaps) {
            if (gap.kind == kind) {
                train.unwatched.push_back({axis(gap.begin_ticks), axis(gap.end_ticks)});
            }
        }
        watched_until = axis(capture.end_ticks);
        const RawEdges& edges = edges_of(capture);
        for (std::size_t i = 0; i < edges.ticks.size(); ++i) {
            (edges.rising[i] ? train.rise_s : train.fall_s).push_back(axis(edges.ticks[i]));
        }
    }
    const double end =
        axis(measurement.captures.empty() ? 0 : measurement.captures.back().end_ticks);
    if (end > watched_until) {
        train.unwatched.push_back({watched_until, end});
    }
    return train;
}

void add_sync(const RawMeasurement& measurement, const TimeAxis& axis, Observation& observation) {
    const double clock_hz = measurement.bench.true_clock_hz();
    for (const RawCapture& capture : measurement.captures) {
        const wire::SyncAchieved& plan = capture.plan;
        const double half_line_s =
            (plan.half_line_ticks +
             static_cast<double>(plan.half_line_numerator) / plan.half_line_denominator) /
            clock_hz;
        observation.line_rate_hz = 1.0 / (2 * half_line_s);
        observation.field_rate_hz = 1.0 / (plan.half_lines * half_line_s);
        observation.interlaced = plan.half_lines % 2 != 0;
        if (!capture.sync_on) {
            continue;
        }
        observation.sync_on = true;
        observation.sync.vertical_sync_offset_s = plan.pre_pulses * half_line_s;
        for (std::size_t i = 0; i < capture.field_starts.ticks.size(); ++i) {
            observation.sync.field_start_s.push_back(axis(capture.field_starts.ticks[i]));
            observation.sync.field_mid_line.push_back(capture.field_starts.mid_line[i]);
        }
        for (const std::int64_t ticks : line_starts(capture)) {
            observation.sync.line_start_s.push_back(axis(ticks));
        }
    }
}

} // namespace

Observation to_observation(const RawMeasurement& measurement) {
    Observation observation;
    const TimeAxis axis(measurement);
    add_samples(measurement, axis, observation);
    observation.field_pulses = pulses(
        measurement, axis, BlockKind::kFieldEdges,
        [](const RawCapture& c) -> const RawEdges& { return c.field_edges; },
        [](const wire::CaptureSettings& s) { return s.field_edge_mode; });
    observation.line_pulses = pulses(
        measurement, axis, BlockKind::kLineEdges,
        [](const RawCapture& c) -> const RawEdges& { return c.line_edges; },
        [](const wire::CaptureSettings& s) { return s.line_edge_mode; });
    add_sync(measurement, axis, observation);
    observation.clock_u_relative = measurement.bench.clock_u_relative;
    return observation;
}

} // namespace yokedock::capture
