// SPDX-License-Identifier: MIT
// Counts retrace edges, and those missing or too many, by the interval against the nominal one.
// An edge less than half a nominal interval after the last good one is extra, and the next interval
// is measured from the good one still. After more than one and a half intervals the rounded number
// between is missing.
#pragma once
#include <stdint.h>

namespace yokedock {
namespace firmware {

/// Nominal interval, exact: whole + numerator / denominator ticks.
struct Interval {
    uint32_t whole = 0;
    uint32_t numerator = 0;
    uint32_t denominator = 1;
};

class EdgeCounter {
  public:
    void reset(const Interval& nominal) {
        nominal_ = nominal;
        shortest_ = nominal.whole / 2;
        longest_ = nominal.whole + nominal.whole / 2;
        path.edges = 0;
        path.shortest = static_cast<uint16_t>(shortest_);
        path.longest = 0; // the first edge is not like the others
        extra_ = missing_ = 0;
        long_ticks_ = 0;
        long_count_ = 0;
        beyond_ = 0;
        have_last_ = false;
    }

    /// One edge of the counted direction; low half of its tick. From one interrupt.
    void edge(uint16_t low) {
        ++path.edges;
        const uint32_t interval =
            beyond_ + static_cast<uint16_t>(static_cast<uint16_t>(low - path.last_low));
        if (have_last_ && interval < shortest_) {
            ++extra_;
            return;
        }
        if (have_last_ && interval > longest_) {
            long_ticks_ += interval; // divided in settle(): an interrupt has no time for it
            long_count_ = static_cast<uint16_t>(long_count_ + 1);
        }
        have_last_ = true;
        beyond_ = 0;
        path.last_low = low;
        path.longest = longest_ > 0xFFFF ? 0 : static_cast<uint16_t>(longest_);
    }

    /// gap ticks, 32768 or more, passed between two edges of whichever direction: low halves alone
    /// do not tell.
    void note_gap(uint32_t gap) {
        beyond_ += gap;
        path.last_low = static_cast<uint16_t>(path.last_low + static_cast<uint16_t>(gap));
        path.longest = 0;
    }

    /// Edges may have been lost on the way here: the next interval tells nothing. From the same
    /// interrupt.
    void forget_last() {
        have_last_ = false;
        beyond_ = 0;
        path.longest = 0;
    }

    struct Long {
        uint32_t ticks;
        uint16_t count;
    };
    bool has_long() const { return long_count_ != 0; }
    /// Main loop, interrupt held off: takes the long intervals over.
    Long take_long() {
        const Long taken{long_ticks_, long_count_};
        long_ticks_ = 0;
        long_count_ = 0;
        return taken;
    }

    /// Main loop: turns long intervals into missing edges.
    void settle(const Long& taken) {
        // n intervals of T ticks each: n = ticks / (whole + numerator / denominator), rounded. 2^32
        // ticks times a denominator below 2^30 stays below 2^64.
        const uint64_t period =
            static_cast<uint64_t>(nominal_.whole) * nominal_.denominator + nominal_.numerator;
        const uint64_t n =
            (static_cast<uint64_t>(taken.ticks) * nominal_.denominator + period / 2) / period;
        missing_ += static_cast<uint32_t>(n) - taken.count;
    }

    uint32_t edges() const { return path.edges; }
    uint32_t extra() const { return extra_; }
    uint32_t missing() const { return missing_; }

    /// What the common edge needs: shortest <= low - last_low < longest. A port may do it by hand:
    /// ++edges, and last_low = low. longest is 0 where edge() must be called.
    struct Path {
        uint16_t last_low;
        uint16_t shortest;
        uint16_t longest;
        uint32_t edges;
    };
    Path path = {};

  private:
    uint32_t shortest_ = 0;
    uint32_t longest_ = 0;
    uint32_t beyond_ = 0; ///< ticks since the last good edge that last_low does not show
    uint32_t extra_ = 0;
    uint32_t long_ticks_ = 0; ///< taken over long before it could wrap
    volatile uint16_t long_count_ = 0;
    bool have_last_ = false;
    uint32_t missing_ = 0;
    Interval nominal_;
};

} // namespace firmware
} // namespace yokedock
