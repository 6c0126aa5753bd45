// SPDX-License-Identifier: MIT
#include "host/bench/soft_start_loads.hpp"
#include "host/bench/channel_codes.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::bench {
namespace {

/// Noise of 0.5 LSB rms spans 3 codes in a hundred samples, and a bias may sit between two codes:
/// what swings by less does not move.
constexpr double kStillCodes = 6;
/// An output node that moves by this much drives a load. A vertical output that runs swings by
/// volts, mains hum on an idle one by less.
constexpr double kDrivingV = 2;
/// Retrace peak that tells a running line output; the rail alone reads lower.
constexpr double kLineRunsV = 40;
constexpr double kShortShare = 0.5;

std::size_t at(ChannelId id) {
    return static_cast<std::size_t>(id);
}

double still(ChannelId id) {
    return kStillCodes * std::abs(value_of(id, 2) - value_of(id, 1));
}

} // namespace

std::optional<LoadFinding> judge_soft_start_loads(const SoftStartLoads& loads,
                                                  const StageReadings& mean,
                                                  const StageReadings& swing) {
    const auto node = swing[at(ChannelId::v_out_v)];
    const auto field = swing[at(ChannelId::v_yoke_a)];
    const auto line = swing[at(ChannelId::h_yoke_a)];
    const auto peak = mean[at(ChannelId::h_peak_v)];
    if (loads.vertical && node && field) {
        const double still_a = still(ChannelId::v_yoke_a);
        if (*field > 4 * still_a && loads.vertical_ohm) { // quantisation below a tenth of it
            const double ohm = *node / *field;
            if (ohm < kShortShare * *loads.vertical_ohm) {
                return LoadFinding{
                    wire::StopCause::over_current, ChannelId::v_yoke_a, *field,
                    fmt::format("the vertical load looks like a short: the output node moves by "
                                "{:.1f} V and the load's current by {:.2f} A, that is {:.1f} ohm; "
                                "expected at least {:.1f} ohm, half of the yoke's {:.3g} ohm",
                                *node, *field, ohm, kShortShare * *loads.vertical_ohm,
                                *loads.vertical_ohm)};
            }
        } else if (*node > kDrivingV && *field < still_a) {
            return LoadFinding{
                wire::StopCause::load_lost, ChannelId::v_yoke_a, *field,
                fmt::format("no current in the vertical load: the output node moves by {:.1f} V "
                            "and the load's current by {:.3f} A; expected more than {:.3f} A",
                            *node, *field, still_a)};
        }
    }
    if (loads.horizontal && peak && line && *peak > kLineRunsV) {
        const double still_a = still(ChannelId::h_yoke_a);
        if (*line < still_a) {
            return LoadFinding{
                wire::StopCause::load_lost, ChannelId::h_yoke_a, *line,
                fmt::format("no current in the horizontal load: the retrace peak is {:.0f} V and "
                            "the load's current moves by {:.3f} A; expected more than {:.3f} A",
                            *peak, *line, still_a)};
        }
    }
    return std::nullopt;
}

} // namespace yokedock::bench
