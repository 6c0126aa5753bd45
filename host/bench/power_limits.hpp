// SPDX-License-Identifier: MIT
// What a board may not exceed, in physical units, and the same as the codes the bench guards by.
// Pure.
#pragma once
#include "host/result.hpp"
#include "shared/wire/messages.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::bench {

/// X(member, needed, what goes unguarded without it). Members have the names of a profile's limits.
#define YOKEDOCK_POWER_LIMITS(X)                                                                   \
    X(supply_min_v, false, "a rail that breaks down")                                              \
    X(supply_max_v, true, "a rail that is too high")                                               \
    X(supply_max_a, true, "an overload")                                                           \
    X(soft_start_ms, true, "a rail that does not come up")                                         \
    X(soft_start_min_v, true, "a rail that does not come up")                                      \
    X(supply_idle_max_a, true, "an overload behind the soft-start resistor")                       \
    X(v_out_min_v, false, "a vertical output node that is too low")                                \
    X(v_out_max_v, false, "a vertical output node that is too high")                               \
    X(h_peak_max_v, false, "a horizontal retrace peak that is too high")                           \
    X(heatsink_max_c, false, "a heat sink that is too hot")                                        \
    X(v_retrace_missing_ms, false, "a vertical retrace that fails")                                \
    X(h_retrace_missing_ms, false, "a horizontal retrace that fails")

/// Nothing: not stated. Units are in the names.
struct PowerLimits {
#define X(member, needed, without) std::optional<double> member;
    YOKEDOCK_POWER_LIMITS(X)
#undef X
    std::optional<double> v_yoke_least_pp_a; ///< live: a load that carries less is lost
    std::optional<double> h_yoke_least_pp_a;
    bool vertical_load = true; ///< relays to close
    bool horizontal_load = true;
};

struct GuardPlan {
    wire::GuardLimits codes;
    double soft_start_s = 0;            ///< from switching on until rail and current are judged
    std::vector<std::string> unguarded; ///< "v_out_max_v: a vertical output node that ..."
    std::vector<std::string> notes;     ///< where the bench watches otherwise than stated
};

constexpr double kRailOffV = 2;              ///< a rail below counts as off
constexpr double kReferenceTolerance = 0.02; ///< of 2.5 V, in the check
/// Below this a thermistor counts as open: no bench is that cold.
constexpr double kOpenSensorC = -40;
/// Part by which the current through the soft-start resistor may exceed what the highest rail
/// allowed drives into a short: resistor and channel together.
constexpr double kInrushMargin = 0.1;
/// Longer in the stage than the board gets: the host's request must come in time.
constexpr double kStartGraceMs = 500;
constexpr double kSettleMs = 1000; ///< from bypass until everything is watched
/// The device takes one reading for enough: two would have to come within a millisecond.
constexpr std::uint8_t kStrikes = 1;

/// Rounded so that the bench trips at the limit or up to one code before it. While the supply
/// starts, current may reach what the soft-start resistor lets through, for empty reservoirs draw
/// that much; soft_start_ms later the host judges it by supply_idle_max_a. kUsage names every limit
/// that is missing but needed, or the first that the bench cannot watch. kStrikes holds.
[[nodiscard]] Result<GuardPlan> plan_guard(const PowerLimits& limits);

/// Names of the limits that are needed and not stated.
[[nodiscard]] std::vector<std::string> missing_limits(const PowerLimits& limits);

} // namespace yokedock::bench
