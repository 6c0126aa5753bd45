// SPDX-License-Identifier: MIT
// Value checks of the requests: field indexes count a request's fields in visit order, from 0.
#pragma once
#include "shared/channels.hpp"
#include "shared/sync/plan.hpp"

namespace yokedock {
namespace firmware {

constexpr uint8_t kAllGood = 0xFF;

/// Index of the first field out of range, or kAllGood. line_ticks: whole ticks of the line in
/// force.
inline uint8_t check_capture(const wire::CaptureSettings& s, uint16_t line_ticks) {
    if (s.line_edge_mode > static_cast<uint8_t>(wire::EdgeMode::kBoth)) {
        return 0;
    }
    if (s.field_edge_mode > static_cast<uint8_t>(wire::EdgeMode::kBoth)) {
        return 1;
    }
    if (s.adc_prescale_log2 < 4 || s.adc_prescale_log2 > 7) {
        return 2;
    }
    if (s.entries > wire::kMaxSchedule) {
        return 3;
    }
    for (uint8_t i = 0; i < s.entries; ++i) {
        const wire::ScheduleEntry& entry = s.schedule[i];
        const uint8_t first_index = static_cast<uint8_t>(4 + 4 * i);
        if ((entry.channel & wire::kScheduleChannelMask) >= kChannelCount) {
            return first_index;
        }
        if (entry.first_place >= line_ticks) {
            return static_cast<uint8_t>(first_index + 1);
        }
        if (entry.places == 0) {
            return static_cast<uint8_t>(first_index + 3);
        }
        const uint32_t last = entry.first_place + static_cast<uint32_t>(entry.step) *
                                                      static_cast<uint16_t>(entry.places - 1);
        if (last >= line_ticks) {
            return static_cast<uint8_t>(first_index + 2);
        }
    }
    return kAllGood;
}

/// The same for a load step.
inline uint8_t check_step(const wire::StepSettings& s, uint32_t clock_hz) {
    if (s.load != 1 && s.load != 2) {
        return 0;
    }
    if (s.on_ticks < wire::kMinStepTicks || s.on_ticks > wire::kMaxStepTicks) {
        return 1;
    }
    if (s.off_ticks < wire::kMinStepTicks || s.off_ticks > wire::kMaxStepTicks) {
        return 2;
    }
    const uint32_t most = clock_hz * wire::kMaxStepSeconds / (s.on_ticks + s.off_ticks);
    if (s.periods == 0 || s.periods > most) {
        return 3;
    }
    return s.rail_off >= kAdcCodes ? uint8_t{4} : kAllGood;
}

/// The same for a calibration. serial: this bench's, where it has one, else 0.
inline uint8_t check_calibration(const wire::Calibration& c, uint32_t serial) {
    if (c.serial == 0 || c.serial == 0xFFFFFFFFu || (serial != 0 && c.serial != serial)) {
        return 0;
    }
    if (c.parts >
        (wire::kCalibratedClock | wire::kCalibratedReference | wire::kCalibratedTrigger)) {
        return 3;
    }
    for (uint8_t i = 0; i < wire::kGuardChannels; ++i) {
        if (c.gain[i] < 500000 || c.gain[i] > 2000000) {
            return static_cast<uint8_t>(4 + i);
        }
    }
    return kAllGood;
}

} // namespace firmware
} // namespace yokedock
