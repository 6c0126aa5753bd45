// SPDX-License-Identifier: MIT
// Raw codes of the converter and what they mean by the channel table's nominal scale, both ways.
// Pure.
#pragma once
#include "shared/channels.hpp"
#include <string>

namespace yokedock::bench {

constexpr double kCodeV = kAdcReferenceMv * 1e-3 / kAdcCodes;

/// Volts at the converter's input. The data sheet draws the ideal converter with its transitions
/// half a code below each multiple, so a code stands for the middle of its step (ATmega2560 data
/// sheet, "ADC Accuracy Definitions": first transition at 0.5 LSB; from memory).
[[nodiscard]] constexpr double volts_of(double code) {
    return code * kCodeV;
}

/// Temperature of the thermistor divider's output. volts must be strictly inside 0 to the
/// reference.
[[nodiscard]] double ntc_celsius(double volts);
/// And back.
[[nodiscard]] double ntc_volts(double celsius);

/// The quantity a code stands for, in the channel's unit. Codes at the ends of the thermistor's
/// range are taken as one code inside it.
[[nodiscard]] double value_of(ChannelId channel, double code);
/// The code, with its fraction, at which the channel stands for this quantity; may lie outside the
/// converter's range.
[[nodiscard]] double code_of(ChannelId channel, double value);

/// "1.35 A": a code in the channel's unit with its digits.
[[nodiscard]] std::string value_text(ChannelId channel, double code);

} // namespace yokedock::bench
