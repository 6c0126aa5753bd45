// SPDX-License-Identifier: MIT
// The seam between the chip simulation and the simulated board. Times are seconds since the start of the
// simulation and exact (cycle / 16 MHz); calls come in non-decreasing time.
#pragma once
#include "shared/channels.hpp"
#include <optional>

namespace yokedock::sim {

/// A change of a retrace comparator's output.
struct RetraceEdge {
    double time_s;
    bool line;   ///< line retrace comparator (ICP4); else field (ICP5)
    bool rising; ///< rising: retrace begins
};

class BoardPort {
  public:
    virtual ~BoardPort() = default;

    /// Composite sync changes level: tip = sync level (the active one), whatever the pin's polarity.
    virtual void sync_edge(double time_s, bool tip) = 0;

    /// Runs the board on, up to limit_s at the most, and returns the first comparator edge on the way (the
    /// board then stands at that edge's time), or nothing (it stands at limit_s). The caller must not pass a
    /// limit beyond the next sync edge it knows of.
    virtual std::optional<RetraceEdge> run_until(double limit_s) = 0;

    /// Code (0 to 1023) the ADC would get for this channel at time_s, which lies at or shortly (at most one line)
    /// before the time the board stands at. Includes front-end scale, lag, noise and quantisation.
    virtual int adc_code(ChannelId channel, double time_s) = 0;
};

} // namespace yokedock::sim
