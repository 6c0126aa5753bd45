// SPDX-License-Identifier: MIT
// The limits a profile may state. One table: members, keys, ranges, options of `profile new` and
// the page come from it.
#pragma once
#include "host/record/channel_range.hpp"
#include "shared/sync/plan.hpp"

namespace yokedock::record {

/// Beyond 150 deg C one code of the thermistor's channel is more than 2 degrees (10 kohm against
/// 10 kohm, B = 3950 K: 0.44 codes per degree there), and no plastic package is meant to be.
constexpr double kMostHeatsinkC = 150;

/// X(key, unit, least, most, text)
#define YOKEDOCK_PROFILE_LIMITS(X)                                                                 \
    X(supply_min_v, "V", 1, channel_top(ChannelId::supply_v),                                      \
      "rail below which the supply is dropped, once it has risen")                                 \
    X(supply_max_v, "V", 1, channel_top(ChannelId::supply_v),                                      \
      "rail above which the supply is dropped")                                                    \
    X(supply_max_a, "A", 0.01, channel_top(ChannelId::supply_a),                                   \
      "supply current above which the supply is dropped")                                          \
    X(soft_start_ms, "ms", 10, 10000,                                                              \
      "time after switching on through the soft-start resistor at which rail and current are "     \
      "judged")                                                                                    \
    X(soft_start_min_v, "V", 0.5, channel_top(ChannelId::supply_v),                                \
      "rail that must be reached by then")                                                         \
    X(supply_idle_max_a, "A", 0.005, channel_top(ChannelId::supply_a),                             \
      "supply current that must not be exceeded then, before the resistor is bypassed")            \
    X(v_out_min_v, "V", channel_bottom(ChannelId::v_out_v), channel_top(ChannelId::v_out_v),       \
      "lowest voltage allowed at the vertical output node")                                        \
    X(v_out_max_v, "V", channel_bottom(ChannelId::v_out_v), channel_top(ChannelId::v_out_v),       \
      "highest voltage allowed at the vertical output node, retrace included")                     \
    X(h_peak_max_v, "V", 10, channel_top(ChannelId::h_peak_v),                                     \
      "highest horizontal retrace peak allowed")                                                   \
    X(heatsink_max_c, "degC", 30, kMostHeatsinkC,                                                  \
      "highest temperature of the vertical output heat sink")                                      \
    X(v_retrace_missing_ms, "ms", 10, 1000,                                                        \
      "time without a vertical retrace after which the supply is dropped")                         \
    X(h_retrace_missing_ms, "ms", 0.05, 100,                                                       \
      "time without a horizontal retrace after which the supply is dropped")                       \
    X(line_rate_min_hz, "Hz", sync::kMinLineRateMhz / 1000.0, sync::kMaxLineRateMhz / 1000.0,      \
      "lowest line rate fed to the board: far below nominal overstresses the line output stage")

} // namespace yokedock::record
