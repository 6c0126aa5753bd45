// SPDX-License-Identifier: MIT
#include "host/bench/channel_codes.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::bench {
namespace {

constexpr double kZeroCelsiusKelvin = 273.15;
constexpr double kWarmKelvin = kZeroCelsiusKelvin + 25;
constexpr double kReferenceV = kAdcReferenceMv * 1e-3;

const Channel& row(ChannelId channel) {
    return kChannels[static_cast<std::size_t>(channel)];
}

} // namespace

double ntc_celsius(double volts) {
    const double ratio = volts / kReferenceV;
    const double ohm = kNtcSeriesOhm * ratio / (1.0 - ratio);
    const double per_kelvin = 1.0 / kWarmKelvin + std::log(ohm / kNtcOhmAt25) / kNtcBetaKelvin;
    return 1.0 / per_kelvin - kZeroCelsiusKelvin;
}

double ntc_volts(double celsius) {
    const double per_kelvin = 1.0 / (celsius + kZeroCelsiusKelvin) - 1.0 / kWarmKelvin;
    const double ohm = kNtcOhmAt25 * std::exp(kNtcBetaKelvin * per_kelvin);
    return kReferenceV * ohm / (ohm + kNtcSeriesOhm);
}

double value_of(ChannelId channel, double code) {
    const Channel& c = row(channel);
    if (c.law == ChannelLaw::kNtc) {
        return ntc_celsius(volts_of(std::clamp(code, 1.0, kAdcCodes - 2.0)));
    }
    return (volts_of(code) - c.zero_mv * 1e-3) / (c.microvolts_per_unit * 1e-6);
}

double code_of(ChannelId channel, double value) {
    const Channel& c = row(channel);
    const double volts = c.law == ChannelLaw::kNtc
                             ? ntc_volts(value)
                             : c.zero_mv * 1e-3 + value * c.microvolts_per_unit * 1e-6;
    return volts / kCodeV;
}

std::string value_text(ChannelId channel, double code) {
    const double step = std::abs(value_of(channel, code + 0.5) - value_of(channel, code - 0.5));
    const int digits = std::clamp(static_cast<int>(std::ceil(-std::log10(step))), 0, 3);
    return fmt::format("{:.{}f} {}", value_of(channel, code), digits, row(channel).unit);
}

} // namespace yokedock::bench
