// SPDX-License-Identifier: MIT
// The seam between the chip simulation and the simulated board. Times are seconds since the start
// of the simulation and exact (cycle / 16 MHz); calls come in non-decreasing time.
#pragma once
#include "shared/channels.hpp"
#include <optional>
#include <string>

namespace yokedock::sim {

/// A change of a retrace comparator's output.
struct RetraceEdge {
    double time_s;
    bool line;   ///< line retrace comparator (ICP4); else field (ICP5)
    bool rising; ///< rising: retrace begins
};

/// What the chip drives on the power side (docs/bench): relays K1 (board supply), K2 (soft-start
/// bypass), K3 and K4 (vertical and horizontal load to the board), K5 (supply of the step drive),
/// the step drive of either load, and the stop button, which opens K1, K2 and K5 in hardware.
struct BenchDrive {
    bool k1 = false;
    bool k2 = false;
    bool k3 = false;
    bool k4 = false;
    bool k5 = false;
    bool step_vertical = false;
    bool step_horizontal = false;
    bool stop_pressed = false;

    bool operator==(const BenchDrive&) const = default;
};

/// A change of an input pin of the chip.
struct PinChange {
    double time_s;
    bool high;
};

class BoardPort {
  public:
    virtual ~BoardPort() = default;

    /// The power side is driven like this from time_s on; nothing is driven before the first call.
    /// time_s is exact and may lie a little before the time the board stands at.
    virtual void set_drive(double /*time_s*/, const BenchDrive&) {}

    /// The over-current pin (high: over current) changes: the next one not yet taken, in time
    /// order, at the most at the time the board stands at. Low at the start.
    virtual std::optional<PinChange> take_over_current() { return std::nullopt; }

    /// Composite sync changes level: tip = sync level (the active one), whatever the pin's
    /// polarity.
    virtual void sync_edge(double time_s, bool tip) = 0;

    /// Worth telling when the bench ends, one line per fact: what became of parts that can die.
    [[nodiscard]] virtual std::string closing_words() const { return {}; }

    /// Runs the board on, up to limit_s at the most, and returns the first comparator edge on the
    /// way (the board then stands at that edge's time), or nothing (it stands at limit_s). The
    /// caller must not pass a limit beyond the next sync edge it knows of.
    virtual std::optional<RetraceEdge> run_until(double limit_s) = 0;

    /// Code (0 to 1023) the ADC would get for this channel at time_s, which lies at or shortly (at
    /// most one line) before the time the board stands at. Includes front-end scale, lag, noise and
    /// quantisation.
    virtual int adc_code(ChannelId channel, double time_s) = 0;
};

} // namespace yokedock::sim
