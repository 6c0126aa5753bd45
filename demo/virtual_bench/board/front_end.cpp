// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/front_end.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::sim {

FrontEnd::FrontEnd(const BoardParameters& p)
    : p_(p), noise_(static_cast<std::uint64_t>(p.bench_noise_seed) * 16 + 3) {
    Random draw(static_cast<std::uint64_t>(p.bench_seed));
    clock_error_ =
        1e-6 * (p.bench_clock_ppm_offset + p.bench_errors * p.bench_clock_ppm_sd * draw.normal());
    for (std::size_t k = 0; k < kChannelCount; ++k) {
        errors_[k].gain =
            1 + p.bench_errors * 1e-6 * kChannels[k].gain_tolerance_ppm * draw.normal();
        errors_[k].zero_v = p.bench_errors * 1e-6 * kChannels[k].zero_tolerance_uv * draw.normal();
    }
}

const InputError& FrontEnd::input_error(ChannelId channel) const {
    return errors_[static_cast<std::size_t>(channel)];
}

double FrontEnd::lag_s(ChannelId channel) const {
    switch (channel) {
    case ChannelId::v_yoke_a:
        return p_.bench_v_yoke_lag_s;
    case ChannelId::h_yoke_a:
        return p_.bench_h_yoke_lag_s;
    case ChannelId::v_out_v:
        return p_.bench_v_out_lag_s;
    case ChannelId::supply_v:
    case ChannelId::supply_a:
        return p_.bench_supply_lag_s;
    case ChannelId::h_peak_v:
    case ChannelId::heatsink_c:
    case ChannelId::ref_v:
        break;
    }
    return 0;
}

void FrontEnd::see_peak(double time_s, double volts) {
    peak_v_ = std::max(peak_v(time_s), volts);
    peak_time_s_ = time_s;
}

double FrontEnd::peak_v(double time_s) const {
    return peak_v_ * std::exp(-std::max(0.0, time_s - peak_time_s_) / p_.bench_peak_decay_s);
}

double FrontEnd::input_v(ChannelId channel, double quantity) const {
    const Channel& c = kChannels[static_cast<std::size_t>(channel)];
    const InputError& error = input_error(channel);
    if (c.law == ChannelLaw::kNtc) {
        const double kelvin = quantity + 273.15;
        const double ohm = kNtcOhmAt25 * std::exp(kNtcBetaKelvin * (1 / kelvin - 1 / 298.15));
        return 1e-3 * kAdcReferenceMv * ohm / (ohm + kNtcSeriesOhm) + error.zero_v;
    }
    return 1e-3 * c.zero_mv + 1e-6 * c.microvolts_per_unit * error.gain * quantity + error.zero_v;
}

int FrontEnd::code(ChannelId channel, double quantity) {
    const double codes = input_v(channel, quantity) * 1000 * kAdcCodes / kAdcReferenceMv;
    const double noisy = codes + p_.bench_noise_lsb * noise_.normal();
    // The first transition of the ideal converter lies at half a code (ATmega2560 data sheet, ADC
    // accuracy definitions: offset error).
    return static_cast<int>(std::clamp(std::floor(noisy + 0.5), 0.0, kAdcCodes - 1.0));
}

} // namespace yokedock::sim
