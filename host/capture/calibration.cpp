// SPDX-License-Identifier: MIT
#include "host/capture/calibration.hpp"
#include "host/capture/measurement.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <limits>

namespace yokedock::capture {
namespace {

constexpr double kReferenceV = kAdcReferenceMv * 1e-3;
constexpr double kLeastSeconds = 5;
constexpr double kMostGainOff = 2; ///< factor
constexpr double kMostZeroV = 0.5;
constexpr double kZeroPart = 0.01; ///< of full scale: a point that counts as zero
constexpr double kApartPart = 0.1; ///< of full scale: two points that tell a slope

const Channel& row_of(ChannelId channel) {
    return kChannels[static_cast<std::size_t>(channel)];
}

/// What the straight line is fitted over: volts = zero + gain * x. For the thermistor x is the
/// voltage its law gives.
struct Abscissa {
    double x;
    double u;
};

Abscissa abscissa(ChannelId channel, const Stated& truth) {
    const double zero_v = row_of(channel).zero_mv * 1e-3;
    const double at = nominal_volts(channel, truth.value) - zero_v;
    const double beside = nominal_volts(channel, truth.value + truth.u) - zero_v;
    return {at, std::abs(beside - at)};
}

struct Line {
    Stated slope, offset;
    double chi_squared = 0;
};

struct Weighted {
    double x, y, weight;
};

Line fit_line(const std::vector<Weighted>& points) {
    double w = 0, wx = 0, wy = 0;
    for (const Weighted& p : points) {
        w += p.weight;
        wx += p.weight * p.x;
        wy += p.weight * p.y;
    }
    const double mean_x = wx / w;
    const double mean_y = wy / w;
    double sxx = 0, sxy = 0;
    for (const Weighted& p : points) {
        sxx += p.weight * (p.x - mean_x) * (p.x - mean_x);
        sxy += p.weight * (p.x - mean_x) * (p.y - mean_y);
    }
    Line line;
    line.slope = {sxy / sxx, 1 / std::sqrt(sxx)};
    line.offset = {mean_y - line.slope.value * mean_x, std::sqrt(1 / w + mean_x * mean_x / sxx)};
    for (const Weighted& p : points) {
        const double off = p.y - line.offset.value - line.slope.value * p.x;
        line.chi_squared += p.weight * off * off;
    }
    if (points.size() > 2) { // more scatter than was stated is believed (Birge ratio)
        const double ratio = std::sqrt(line.chi_squared / static_cast<double>(points.size() - 2));
        line.slope.u *= std::max(1.0, ratio);
        line.offset.u *= std::max(1.0, ratio);
    }
    return line;
}

Calibration::ChannelResult from_one(ChannelId channel, double x, double u_x, const Stated& volts) {
    const Channel& row = row_of(channel);
    const double zero_v = row.zero_mv * 1e-3;
    Calibration::ChannelResult result;
    result.gain.u = row.gain_tolerance_ppm * 1e-6;
    result.zero_v.u = row.zero_tolerance_uv * 1e-6;
    if (std::abs(x) < kZeroPart * kReferenceV) {
        result.zero_v = {volts.value - zero_v - x, std::hypot(volts.u, u_x)};
    } else {
        result.gain.value = (volts.value - zero_v) / x;
        result.gain.u =
            std::hypot(std::hypot(volts.u, result.zero_v.u), result.gain.value * u_x) / std::abs(x);
    }
    return result;
}

Status plausible(ChannelId channel, const Calibration::ChannelResult& result) {
    const double gain = result.gain.value;
    if (gain >= 1 / kMostGainOff && gain <= kMostGainOff &&
        std::abs(result.zero_v.value) <= kMostZeroV) {
        return Done{};
    }
    return Error{ErrorKind::kUsage, fmt::format("{}: the points make a gain of {:.4g} times "
                                                "nominal and a zero {:.4g} V off; expected 0.5 "
                                                "to 2 and at most 0.5 V; look at the unit, the "
                                                "plug and what was connected, and take the "
                                                "points again",
                                                row_of(channel).name, gain, result.zero_v.value)};
}

/// A signed or unsigned wire field; the error names it.
template <class Int> Status put(Int& field, const char* name, double value, double unit) {
    const double units = std::round(value / unit);
    const bool is_signed = std::numeric_limits<Int>::is_signed;
    const double low = is_signed ? -2147483648.0 : 0.0;
    const double high = is_signed ? 2147483647.0 : 4294967295.0;
    if (!(units >= low && units <= high)) {
        return Error{ErrorKind::kUsage,
                     fmt::format("{} is {:.6g}, expected {:.6g} to {:.6g}; it cannot be stored",
                                 name, value, low * unit, high * unit)};
    }
    field = static_cast<Int>(units);
    return Done{};
}

double signed_value(std::uint32_t field) {
    return static_cast<double>(static_cast<std::int32_t>(field));
}

/// An uncertainty is rounded up, so that it is never stored as 0.
double at_least(double u, double unit) {
    return std::max(std::ceil(u / unit), 1.0) * unit;
}

} // namespace

bool Calibration::any() const {
    return clock_relative || adc_reference_v || trigger_delay_s ||
           std::any_of(channels.begin(), channels.end(),
                       [](const auto& c) { return c.has_value(); });
}

double nominal_volts(ChannelId channel, double quantity) {
    const Channel& row = row_of(channel);
    if (row.law == ChannelLaw::kNtc) {
        const double ohm =
            kNtcOhmAt25 * std::exp(kNtcBetaKelvin * (1 / (quantity + 273.15) - 1 / 298.15));
        return kReferenceV * ohm / (ohm + kNtcSeriesOhm);
    }
    return row.zero_mv * 1e-3 + row.microvolts_per_unit * 1e-6 * quantity;
}

Result<Calibration::ChannelResult> fit_channel(ChannelId channel,
                                               const std::vector<CalibrationPoint>& points,
                                               const std::optional<Stated>& adc_reference_v) {
    const bool ratiometric = row_of(channel).law == ChannelLaw::kNtc;
    const double reference =
        adc_reference_v && !ratiometric ? adc_reference_v->value / kReferenceV : 1.0;
    std::vector<Weighted> fitted;
    double low = std::numeric_limits<double>::infinity();
    double high = -low;
    Stated last_x;
    Stated last_v;
    for (const CalibrationPoint& point : points) {
        if (point.channel != channel) {
            continue;
        }
        const Abscissa a = abscissa(channel, point.truth);
        const double u = std::hypot(point.volts.u * reference, a.u);
        fitted.push_back({a.x, point.volts.value * reference, 1 / (u * u)});
        low = std::min(low, a.x);
        high = std::max(high, a.x);
        last_x = {a.x, a.u};
        last_v = {point.volts.value * reference, point.volts.u * reference};
    }
    if (fitted.empty()) {
        return Error{ErrorKind::kUsage,
                     fmt::format("no calibration point of {} is there", row_of(channel).name)};
    }
    Calibration::ChannelResult result;
    if (high - low < kApartPart * kReferenceV) {
        result = from_one(channel, last_x.value, last_x.u, last_v);
    } else {
        const Line line = fit_line(fitted);
        result.gain = line.slope;
        result.zero_v = {line.offset.value - row_of(channel).zero_mv * 1e-3, line.offset.u};
    }
    if (adc_reference_v && !ratiometric) {
        const double part = adc_reference_v->u / adc_reference_v->value;
        result.gain.u = std::hypot(result.gain.u, part * result.gain.value);
    }
    if (const Status sound = plausible(channel, result); !sound) {
        return sound.error();
    }
    return result;
}

Result<Stated> fit_clock(const ClockReading& begin, const ClockReading& end, double clock_hz,
                         double host_u_relative) {
    const double host_s = end.host_s - begin.host_s;
    if (!(host_s >= kLeastSeconds)) {
        return Error{ErrorKind::kUsage, fmt::format("the clocks were compared over {:.3g} s, "
                                                    "expected at least {:g} s; give a longer time",
                                                    host_s, kLeastSeconds)};
    }
    const double relative = static_cast<double>(end.ticks - begin.ticks) / clock_hz / host_s - 1;
    const double trip_u = std::hypot(begin.half_trip_s, end.half_trip_s) / std::sqrt(3.0) / host_s;
    return Stated{relative, std::hypot(trip_u, host_u_relative)};
}

ChannelScale calibrated_scale(ChannelId channel, const Calibration& calibration) {
    ChannelScale scale = nominal_scale(channel);
    const Channel& row = row_of(channel);
    const auto& result = calibration.channels[static_cast<std::size_t>(channel)];
    if (result) {
        scale.zero_v = row.zero_mv * 1e-3 + result->zero_v.value;
        scale.volts_per_unit *= result->gain.value;
        scale.gain_u_relative = result->gain.u / result->gain.value;
        scale.zero_u_v = result->zero_v.u;
        scale.calibrated = true;
    }
    if (calibration.adc_reference_v && row.law == ChannelLaw::kLinear) {
        // Codes become volts by the nominal reference: what the true one makes of them is taken
        // into the scale.
        const double part = kReferenceV / calibration.adc_reference_v->value;
        scale.zero_v *= part;
        scale.volts_per_unit *= part;
        scale.zero_u_v *= part;
    }
    if (calibration.trigger_delay_s) { // a later aperture is a later sample: less lag to take off
        scale.delay_s -= calibration.trigger_delay_s->value;
    }
    return scale;
}

void apply(const Calibration& calibration, BenchInfo& bench) {
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        bench.scale[i] = calibrated_scale(static_cast<ChannelId>(i), calibration);
    }
    bench.calibrated_s = calibration.any() ? calibration.date_s : 0;
    bench.clock_relative = calibration.clock_relative ? calibration.clock_relative->value : 0;
    bench.clock_u_relative =
        calibration.clock_relative ? calibration.clock_relative->u : kClockTolerancePpm * 1e-6;
}

Result<wire::Calibration> to_wire(const Calibration& calibration) {
    wire::Calibration w;
    w.serial = calibration.serial;
    w.date = calibration.date_s;
    std::vector<Status> all;
    const auto put_signed = [&all](std::uint32_t& field, const char* name, double value,
                                   double unit) {
        std::int32_t whole = 0;
        all.push_back(put(whole, name, value, unit));
        field = static_cast<std::uint32_t>(whole);
    };
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        const Calibration::ChannelResult c =
            calibration.channels[i].value_or(Calibration::ChannelResult{});
        const bool there = calibration.channels[i].has_value();
        w.channels = static_cast<std::uint8_t>(w.channels | (there ? 1u << i : 0u));
        all.push_back(put(w.gain[i], kChannels[i].name, c.gain.value, 1e-6));
        all.push_back(
            put(w.gain_u[i], kChannels[i].name, there ? at_least(c.gain.u, 1e-6) : 0, 1e-6));
        put_signed(w.zero[i], kChannels[i].name, c.zero_v.value, 1e-6);
        all.push_back(
            put(w.zero_u[i], kChannels[i].name, there ? at_least(c.zero_v.u, 1e-6) : 0, 1e-6));
    }
    if (const auto& clock = calibration.clock_relative) {
        w.parts |= wire::kCalibratedClock;
        put_signed(w.clock_ppb, "clock", clock->value, 1e-9);
        all.push_back(put(w.clock_u_ppb, "clock uncertainty", at_least(clock->u, 1e-9), 1e-9));
    }
    if (const auto& reference = calibration.adc_reference_v) {
        w.parts |= wire::kCalibratedReference;
        all.push_back(put(w.adc_reference_uv, "converter reference", reference->value, 1e-6));
        all.push_back(
            put(w.adc_reference_u_uv, "its uncertainty", at_least(reference->u, 1e-6), 1e-6));
    }
    if (const auto& delay = calibration.trigger_delay_s) {
        w.parts |= wire::kCalibratedTrigger;
        put_signed(w.trigger_delay_ps, "trigger delay", delay->value, 1e-12);
        all.push_back(
            put(w.trigger_delay_u_ps, "its uncertainty", at_least(delay->u, 1e-12), 1e-12));
    }
    for (const Status& status : all) {
        if (!status) {
            return status.error();
        }
    }
    return w;
}

Calibration from_wire(const wire::Calibration& w) {
    Calibration c;
    c.serial = w.serial;
    c.date_s = w.date;
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        if ((w.channels & (1u << i)) != 0) {
            c.channels[i] = {{w.gain[i] * 1e-6, w.gain_u[i] * 1e-6},
                             {signed_value(w.zero[i]) * 1e-6, w.zero_u[i] * 1e-6}};
        }
    }
    if ((w.parts & wire::kCalibratedClock) != 0) {
        c.clock_relative = {signed_value(w.clock_ppb) * 1e-9, w.clock_u_ppb * 1e-9};
    }
    if ((w.parts & wire::kCalibratedReference) != 0) {
        c.adc_reference_v = {w.adc_reference_uv * 1e-6, w.adc_reference_u_uv * 1e-6};
    }
    if ((w.parts & wire::kCalibratedTrigger) != 0) {
        c.trigger_delay_s = {signed_value(w.trigger_delay_ps) * 1e-12,
                             w.trigger_delay_u_ps * 1e-12};
    }
    return c;
}

} // namespace yokedock::capture
