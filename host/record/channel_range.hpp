// SPDX-License-Identifier: MIT
// What the reference bench's channels can read: a limit beyond it could never trip.
#pragma once
#include "shared/channels.hpp"

namespace yokedock::record {

/// Part of the span that is kept free at both ends: twice the standard uncertainty of the worst
/// gain in the channel table (0.8 %) and the last codes, rounded up.
constexpr double kChannelMargin = 0.02;

/// The quantity at which a linear channel's input stands at `volts`.
[[nodiscard]] constexpr double channel_value(ChannelId id, double volts) {
    const Channel& channel = kChannels[static_cast<unsigned>(id)];
    return (volts - channel.zero_mv / 1000.0) / (channel.microvolts_per_unit * 1e-6);
}
[[nodiscard]] constexpr double channel_top(ChannelId id) {
    return channel_value(id, kAdcReferenceMv / 1000.0 * (1 - kChannelMargin));
}
[[nodiscard]] constexpr double channel_bottom(ChannelId id) {
    return channel_value(id, kAdcReferenceMv / 1000.0 * kChannelMargin);
}

} // namespace yokedock::record
