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

} // namespace firmware
} // namespace yokedock
