// SPDX-License-Identifier: MIT
// The channel table: the reference front end's analogue inputs and their nominal scale. Front end and
// figures are this project's own (docs/bench describes it).
#pragma once
#include <stdint.h>

namespace yokedock {

constexpr uint16_t kAdcReferenceMv = 5000;
constexpr uint16_t kAdcCodes = 1024;
constexpr uint8_t kChannelCount = 8;

enum class ChannelLaw : uint8_t {
    kLinear, ///< input volts = zero_mv / 1000 + microvolts_per_unit * 1e-6 * quantity
    kNtc,    ///< 10 kohm NTC (B = 3950 K, 25 deg C) to ground, 10 kohm to the reference
};

struct Channel {
    const char* name;
    const char* unit;
    const char* text;
    ChannelLaw law;
    uint16_t zero_mv;             ///< input voltage at quantity 0
    uint32_t microvolts_per_unit; ///< nominal gain
    uint16_t gain_tolerance_ppm;  ///< standard uncertainty of the gain before calibration
    uint16_t zero_tolerance_uv;   ///< standard uncertainty of the zero before calibration, uV at the input
    uint16_t input_lag_ns;        ///< nominal lag of the front end's one-pole input filter
};

/// X(name, unit, law, zero mV, uV per unit, gain u ppm, zero u uV, lag ns, text). Index is the ADC input.
/// Tolerances are standard uncertainties of 1 % and 0.1 % parts and op-amp offsets: invented, typical.
#define YOKEDOCK_CHANNELS(X)                                                                           \
    X(v_yoke_a, "A", kLinear, 2500, 1250000, 5000, 4000, 2000, "vertical load current")                \
    X(h_yoke_a, "A", kLinear, 2500, 500000, 8000, 4000, 200, "horizontal load current")                \
    X(supply_v, "V", kLinear, 0, 80000, 5000, 2000, 2000, "board supply rail")                         \
    X(supply_a, "A", kLinear, 0, 1000000, 8000, 4000, 2000, "board supply current")                    \
    X(v_out_v, "V", kLinear, 1000, 40000, 5000, 3000, 2000, "vertical output node")                    \
    X(h_peak_v, "V", kLinear, 0, 10000, 8000, 3000, 2000, "horizontal retrace peak")                   \
    X(heatsink_c, "degC", kNtc, 0, 0, 0, 3000, 2000, "vertical output heat sink")                      \
    X(ref_v, "V", kLinear, 0, 1000000, 1000, 1000, 2000, "reference, 2.500 V")

enum class ChannelId : uint8_t {
#define X(name, unit, law, zero, gain, gain_u, zero_u, lag_ns, text) name,
    YOKEDOCK_CHANNELS(X)
#undef X
};

#ifndef __AVR__ // a table with pointers: on the device it would only fill SRAM
constexpr Channel kChannels[kChannelCount] = {
#define X(name, unit, law, zero, gain, gain_u, zero_u, lag_ns, text)                                           \
    {#name, unit, text, ChannelLaw::law, zero, gain, gain_u, zero_u, lag_ns},
    YOKEDOCK_CHANNELS(X)
#undef X
};
#endif

constexpr uint16_t kClockTolerancePpm = 30; ///< standard uncertainty of the bench's crystal before calibration
constexpr uint32_t kReferenceUv = 2500000; ///< channel ref_v should read this
constexpr uint8_t kSoftStartOhm = 22;      ///< the resistor that relay K2 bypasses
constexpr uint16_t kNtcBetaKelvin = 3950;
constexpr uint16_t kNtcOhmAt25 = 10000;
constexpr uint16_t kNtcSeriesOhm = 10000;

} // namespace yokedock
