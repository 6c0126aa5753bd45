// SPDX-License-Identifier: MIT
#pragma once
#include "firmware/ports/avr/state.hpp"

namespace yokedock {
namespace firmware {

/// A retrace pulse may be shorter than the slot handler; with both edges stamped, the second would
/// overrun the first. So the handler, half way through, moves a waiting edge here; the capture
/// handler takes it from here.
struct LineLatch {
    uint16_t stamp;
    uint8_t tccr4b;        ///< as it was at the edge: its direction
    volatile uint8_t full; ///< 0 or 0xFF
    uint8_t both;          ///< 0xFF: both edges are stamped; else 0
};
extern LineLatch line_latch;

/// Slot handler only.
inline void latch_line_edge() {
    if ((TIFR4 & (1 << ICF4)) != 0 && line_latch.both != 0 && line_latch.full == 0) {
        line_latch.stamp = ICR4;
        const uint8_t control = TCCR4B;
        TCCR4B = static_cast<uint8_t>(control ^ (1 << ICES4));
        TIFR4 = 1 << ICF4;
        line_latch.tccr4b = control;
        line_latch.full = 0xFF;
    }
}

/// Main loop: stamps edges as asked from now on, counters as they stand. Modes are wire::EdgeMode.
void start_edges(uint8_t line_mode, uint8_t field_mode);
/// Main loop: no more edges; a latched one is recorded.
void stop_edges();

} // namespace firmware
} // namespace yokedock
