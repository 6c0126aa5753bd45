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

/// The capture register holds one edge, and the next one overwrites it without a trace. To record
/// an edge takes a part of a line or, where a block must be opened and the slots are half lines,
/// several lines; so the capture handler interrupts itself, and leaves the edges of that time here.
/// Offsets are in bytes. An edge that finds the queue full is counted as dropped, and the one
/// before it carries kLineEdgeLost.
struct LineQueue {
    struct Edge {
        uint16_t stamp;
        uint8_t tccr4b;
        uint8_t unused;
    };
    uint8_t head; ///< next to fill
    uint8_t tail; ///< next to take; the same as head: empty
    Edge edge[8];
};
extern LineQueue line_queue;
constexpr uint8_t kLineQueueMask = sizeof(LineQueue::edge) - sizeof(LineQueue::Edge);
/// Beside what TCCR4B holds: the noise canceller's bit, which is never used.
constexpr uint8_t kLineEdgeLost = 0x80;

/// After-pulse handler only, the one that holds others up for longest: an edge that waits now may
/// be overwritten before its handler comes. A copy is left in the latch (one edge only is stamped,
/// so that it is free); the handler tells by it.
inline void peek_line_edge() {
    if ((TIFR4 & (1 << ICF4)) != 0 && line_latch.both == 0 && (GPIOR0 & (1 << kLinePeekBit)) == 0) {
        line_latch.stamp = ICR4;
        line_latch.tccr4b = TCCR4B;
        GPIOR0 |= 1 << kLinePeekBit;
    }
}

/// Main loop: stamps edges as asked from now on, counters as they stand. Modes are wire::EdgeMode.
void start_edges(uint8_t line_mode, uint8_t field_mode);
/// Main loop: no more edges; a latched one is recorded.
void stop_edges();

} // namespace firmware
} // namespace yokedock
