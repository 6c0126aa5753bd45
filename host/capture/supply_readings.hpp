// SPDX-License-Identifier: MIT
// Readings of all channels for the stages of a start, and the samples that the bench keeps of a
// trip.
#pragma once
#include "host/bench/energise.hpp"
#include "host/capture/measurement.hpp"

namespace yokedock::capture {

constexpr double kReadingSeconds = 0.05;

constexpr const char* kTripPurpose = "trip"; ///< of a capture, see read_trip()

/// Means and swings over kReadingSeconds by nominal scale. Errors as run_capture.
[[nodiscard]] Result<bench::StageView> read_channels(const bench::Bench& bench);

/// What the bench kept of the time before a trip (a few thousand samples at most) and of 10 ms
/// after it, as one capture named kTripPurpose; to be read before anything else is captured. Few
/// samples or none: a capture ran, and has them. Waits until the bench's sampling has ended. Times
/// are on an axis of their own, on which the trip is trip_ticks, or 2^32 more where the clock had
/// wrapped.
[[nodiscard]] Result<RawCapture> read_trip(const bench::Bench& bench, std::uint32_t trip_ticks);

/// The newest sample of each channel.
struct LastReading {
    ChannelId channel{};
    std::uint16_t code = 0;
    double value = 0;
    double before_s = 0; ///< how long before trip_ticks; negative: after it
};
[[nodiscard]] std::vector<LastReading> last_readings(const RawCapture& capture,
                                                     std::uint32_t trip_ticks, double clock_hz);

} // namespace yokedock::capture
