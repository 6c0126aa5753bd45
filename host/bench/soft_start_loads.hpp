// SPDX-License-Identifier: MIT
// The loads as they look while the board runs behind the soft-start resistor: before the bypass a
// missing or shorted yoke costs nothing.
#pragma once
#include "host/bench/trip.hpp"
#include "shared/channels.hpp"
#include <array>
#include <optional>
#include <string>

namespace yokedock::bench {

/// Over a short time, by channel; nothing: not measured.
using StageReadings = std::array<std::optional<double>, kChannelCount>;

/// What the loads should be. A member without value is not judged.
struct SoftStartLoads {
    std::optional<double> vertical_ohm; ///< the yoke's resistance, cold
    bool vertical = true;               ///< that load's relay is closed, and silence not allowed
    bool horizontal = true;
};

struct LoadFinding {
    wire::StopCause cause; ///< load_lost, or over_current: a load that is nearly a short
    ChannelId channel;     ///< where it was seen
    double value;          ///< swing there, in the channel's unit
    std::string text;      ///< what was seen and what was expected, without the next step
};

/// What speaks against the bypass, from means and peak-to-peak swings at the end of the soft start.
/// Nothing: no fault seen, or the output stages do not run yet on so low a rail, which proves
/// nothing. The vertical load: an output node that moves drives current through R at least, so
/// swing(v_out_v) / swing(v_yoke_a) cannot be below R (inductance, sense resistor and wiring add;
/// Ohm's law); below half of R it is a short. Pure.
[[nodiscard]] std::optional<LoadFinding> judge_soft_start_loads(const SoftStartLoads& loads,
                                                                const StageReadings& mean,
                                                                const StageReadings& swing);

} // namespace yokedock::bench
