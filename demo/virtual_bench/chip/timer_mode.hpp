// SPDX-License-Identifier: MIT
// Waveform generation modes of the ATmega2560 timers (data sheet, tables "Waveform Generation Mode
// Bit Description" of the 16-bit timers and of Timer2), as far as the models have them.
#pragma once
#include <cstdint>

namespace yokedock::sim {

enum class Counting : std::uint8_t { kNormal, kClearOnMatch, kFastPwm, kUnsupported };
enum class TopSource : std::uint8_t { kFixed, kOcrA, kIcr };

struct TimerMode {
    Counting counting = Counting::kNormal;
    TopSource top = TopSource::kFixed;
    std::uint16_t fixed_top = 0;

    bool operator==(const TimerMode&) const = default;
    /// Fast PWM: OCRnx goes to the comparator at BOTTOM only.
    constexpr bool buffered() const { return counting == Counting::kFastPwm; }
};

/// The phase correct modes are not modelled.
constexpr TimerMode timer_mode(unsigned wgm, bool wide) {
    const std::uint16_t max = wide ? 0xFFFF : 0xFF;
    if (wgm == 0) {
        return {Counting::kNormal, TopSource::kFixed, max};
    }
    if (!wide) {
        switch (wgm) {
        case 2:
            return {Counting::kClearOnMatch, TopSource::kOcrA, 0};
        case 3:
            return {Counting::kFastPwm, TopSource::kFixed, 0xFF};
        case 7:
            return {Counting::kFastPwm, TopSource::kOcrA, 0};
        default:
            return {Counting::kUnsupported, TopSource::kFixed, max};
        }
    }
    switch (wgm) {
    case 4:
        return {Counting::kClearOnMatch, TopSource::kOcrA, 0};
    case 5:
        return {Counting::kFastPwm, TopSource::kFixed, 0x00FF};
    case 6:
        return {Counting::kFastPwm, TopSource::kFixed, 0x01FF};
    case 7:
        return {Counting::kFastPwm, TopSource::kFixed, 0x03FF};
    case 12:
        return {Counting::kClearOnMatch, TopSource::kIcr, 0};
    case 14:
        return {Counting::kFastPwm, TopSource::kIcr, 0};
    case 15:
        return {Counting::kFastPwm, TopSource::kOcrA, 0};
    default:
        return {Counting::kUnsupported, TopSource::kFixed, max};
    }
}

} // namespace yokedock::sim
