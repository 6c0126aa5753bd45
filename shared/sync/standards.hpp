// SPDX-License-Identifier: MIT
// The sync standards as settings. Sources: SMPTE 170M-2004 (525/59.94), ITU-R BT.470-6 and BT.1700
// (625/50); monochrome 525/60: sync 0.075 H, equalising 0.04 H, serration 0.07 H, from memory. Progressive
// rows: common practice, no source; rates computed from the line rate.
#pragma once
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace sync {

struct Standard {
    const char* name;
    const char* text;
    wire::SyncSettings settings;
    uint16_t blanking_end_ns;  ///< line sync edge to the end of line blanking
    uint16_t front_porch_ns;   ///< end of picture to the line sync edge
    uint8_t blanked_lines;     ///< per field, from the first pulse of the field group on
};

constexpr uint8_t kProgressive = wire::kSyncLineRateSerrations;
constexpr uint8_t kPlain = wire::kSyncPlainVertical;

constexpr Standard kStandards[] = {
    {"525/59.94", "525 lines interlaced, 59.94 Hz",
     {4500000, 286, 525, 4700, 2300, 4700, 6, 6, 6, 0}, 9200, 1500, 20},
    {"625/50", "625 lines interlaced, 50 Hz",
     {15625, 1, 625, 4700, 2350, 4700, 5, 5, 5, 0}, 10500, 1500, 25},
    {"mono-525/60", "525 lines interlaced, 60 Hz, monochrome",
     {15750, 1, 525, 4762, 2540, 4444, 6, 6, 6, 0}, 9200, 1500, 20},
    {"262", "262 lines progressive, 60.1 Hz, serrated",
     {15750, 1, 524, 4700, 0, 4700, 0, 6, 0, kProgressive}, 9200, 1500, 20},
    {"262-plain", "262 lines progressive, 60.1 Hz, one unbroken vertical pulse",
     {15750, 1, 524, 4700, 0, 0, 0, 6, 0, kPlain}, 9200, 1500, 20},
    {"263", "263 lines progressive, 59.9 Hz, serrated",
     {15750, 1, 526, 4700, 0, 4700, 0, 6, 0, kProgressive}, 9200, 1500, 20},
    {"263-plain", "263 lines progressive, 59.9 Hz, one unbroken vertical pulse",
     {15750, 1, 526, 4700, 0, 0, 0, 6, 0, kPlain}, 9200, 1500, 20},
    {"312", "312 lines progressive, 50.1 Hz, serrated",
     {15625, 1, 624, 4700, 0, 4700, 0, 6, 0, kProgressive}, 10500, 1500, 25},
    {"312-plain", "312 lines progressive, 50.1 Hz, one unbroken vertical pulse",
     {15625, 1, 624, 4700, 0, 0, 0, 6, 0, kPlain}, 10500, 1500, 25},
    {"313", "313 lines progressive, 49.9 Hz, serrated",
     {15625, 1, 626, 4700, 0, 4700, 0, 6, 0, kProgressive}, 10500, 1500, 25},
    {"313-plain", "313 lines progressive, 49.9 Hz, one unbroken vertical pulse",
     {15625, 1, 626, 4700, 0, 0, 0, 6, 0, kPlain}, 10500, 1500, 25},
};

constexpr uint8_t kStandardCount = sizeof(kStandards) / sizeof(kStandards[0]);

} // namespace sync
} // namespace yokedock
