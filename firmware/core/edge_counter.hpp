// SPDX-License-Identifier: MIT
// Counts retrace edges, and those missing or too many, by the interval against the nominal one.
// An edge less than half a nominal interval after the last good one is extra, and the next interval is measured
// from the good one still. After more than one and a half intervals the rounded number between is missing.
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
        edges_ = extra_ = 0;
        long_ticks_ = 0;
        long_count_ = 0;
        missing_ = 0;
        have_last_ = false;
    }

    /// One edge of the counted direction. From one interrupt.
    void edge(uint32_t time) {
        ++edges_;
        const uint32_t interval = time - last_;
        if (interval < shortest_ && have_last_) {
            ++extra_;
            return;
        }
        last_ = time;
        if (interval > longest_ && have_last_) {
            long_ticks_ += interval; // divided in settle(): an interrupt has no time for it
            ++long_count_;
        }
        have_last_ = true;
    }

    /// Main loop, interrupt held off by the caller while it copies: takes the long intervals over.
    struct Long {
        uint64_t ticks;
        uint16_t count;
    };
    Long take_long() {
        const Long taken{long_ticks_, long_count_};
        long_ticks_ = 0;
        long_count_ = 0;
        return taken;
    }

    /// Main loop: turns long intervals into missing edges.
    void settle(const Long& taken) {
        if (taken.count != 0) {
            // n intervals of T ticks each: n = ticks / (whole + numerator / denominator), rounded. 2^32 ticks times
            // a denominator below 2^30 stays below 2^64.
            const uint64_t period =
                static_cast<uint64_t>(nominal_.whole) * nominal_.denominator + nominal_.numerator;
            const uint64_t n = (taken.ticks * nominal_.denominator + period / 2) / period;
            missing_ += static_cast<uint32_t>(n) - taken.count;
        }
    }

    uint32_t edges() const { return edges_; }
    uint32_t extra() const { return extra_; }
    uint32_t missing() const { return missing_; }

  private:
    uint32_t last_ = 0;
    uint32_t edges_ = 0;
    uint32_t shortest_ = 0;
    uint32_t longest_ = 0;
    uint32_t extra_ = 0;
    uint64_t long_ticks_ = 0;
    uint16_t long_count_ = 0;
    bool have_last_ = false;
    uint32_t missing_ = 0;
    Interval nominal_;
};

} // namespace firmware
} // namespace yokedock
