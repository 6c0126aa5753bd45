// SPDX-License-Identifier: MIT
// What a bench sent, before any scale: raw codes and exact ticks. This is what a record keeps, so
// that a newer version can analyse it again. Ticks are unwrapped to 64 bits; all captures of a
// measurement share one axis.
#pragma once
#include "host/capture/observation.hpp"
#include "shared/channels.hpp"
#include "shared/wire/messages.hpp"
#include <array>
#include <cstdint>
#include <string>
#include <vector>

namespace yokedock::capture {

/// Trigger times, codes and channels of samples; the three vectors have equal size.
struct RawSamples {
    std::vector<std::int64_t> ticks; ///< trigger time; the sample was held aperture_ticks later
    std::vector<std::uint16_t> code;
    std::vector<std::uint8_t> channel;
};

/// Edge stamps; equal sizes.
struct RawEdges {
    std::vector<std::int64_t> ticks;
    std::vector<bool> rising;
};

/// Field starts as the device made them; equal sizes.
struct RawFieldStarts {
    std::vector<std::int64_t> ticks;
    std::vector<std::uint32_t> accumulator; ///< bits 0-30 of wire::FieldStart::accumulator
    std::vector<bool> mid_line;
};

/// Data of one kind is missing between these ticks (the pool was full).
struct RawGap {
    wire::BlockKind kind;
    std::int64_t begin_ticks;
    std::int64_t end_ticks;
};

/// One start_capture to stop_capture.
struct RawCapture {
    std::string purpose; ///< "edges", "vertical", "horizontal", "slow": what it was taken for
    wire::CaptureSettings settings;
    wire::SyncAchieved plan;
    bool sync_on = false;
    std::uint16_t aperture_ticks = 0;
    std::uint16_t conversion_ticks = 0;
    std::int64_t begin_ticks = 0;
    std::int64_t end_ticks = 0;
    std::uint32_t words_dropped = 0;
    RawSamples samples;
    RawEdges line_edges;
    RawEdges field_edges;
    RawFieldStarts field_starts;
    std::vector<RawGap> gaps;
};

/// How codes of one channel become a quantity: value = (volts - zero_v) / volts_per_unit for linear
/// channels.
struct ChannelScale {
    double zero_v = 0;
    double volts_per_unit = 1;
    double gain_u_relative = 0; ///< standard uncertainty
    double zero_u_v = 0;        ///< standard uncertainty, volts at the input
    double delay_s = 0;         ///< input lag to take off the sample time
    bool calibrated = false;
};

struct BenchInfo {
    wire::IdentifyAnswer identity;
    std::string transport;           ///< "serial", "tcp", "unix", "memory"
    std::string address;             ///< as the user gave it
    bool simulated = false;          ///< the bench said or the user told that it is a virtual one
    double clock_relative = 0; ///< true clock rate / nominal - 1, as calibrated
    double clock_u_relative = kClockTolerancePpm * 1e-6; ///< standard uncertainty of it; nominal until calibrated
    std::uint32_t calibrated_s = 0; ///< date of the calibration in use, seconds since 1970-01-01 UTC; 0: none
    std::array<ChannelScale, kChannelCount> scale;

    [[nodiscard]] double true_clock_hz() const { return identity.clock_hz * (1 + clock_relative); }
};

struct RawMeasurement {
    BenchInfo bench;
    std::vector<RawCapture> captures;
    bool complete = true; ///< false when stopped or cut off: what is here is still good
    std::vector<std::string> notes;
};

/// Raw codes and ticks to SI units. Pure. Captures without sync, gaps and empty channels are
/// represented as Observation says; a channel never sampled is absent.
[[nodiscard]] Observation to_observation(const RawMeasurement& measurement);

} // namespace yokedock::capture
