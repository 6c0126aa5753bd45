// SPDX-License-Identifier: MIT
#include "host/capture/supply_readings.hpp"
#include "host/bench/channel_codes.hpp"
#include "host/capture/block_decoder.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::capture {
namespace {

/// The bench samples on for 10 ms after a trip, and its pool stands still then.
constexpr double kFreezeS = 0.02;
/// Blocks the bench may hold, and some: a bench that claims more is not believed.
constexpr int kMostBlocks = 64;

/// Sorts what came with the trip in its middle; a clock that wrapped makes no time negative.
void move_to(RawCapture& capture, std::int64_t trip) {
    std::int64_t least = trip;
    std::int64_t most = trip;
    const auto widen = [&](const std::vector<std::int64_t>& ticks) {
        for (const std::int64_t t : ticks) {
            least = std::min(least, t);
            most = std::max(most, t);
        }
    };
    RawCapture& c = capture;
    widen(c.samples.ticks);
    widen(c.line_edges.ticks);
    widen(c.field_edges.ticks);
    widen(c.field_starts.ticks);
    const std::int64_t shift = least < 0 ? std::int64_t{1} << 32 : 0;
    for (auto* ticks :
         {&c.samples.ticks, &c.line_edges.ticks, &c.field_edges.ticks, &c.field_starts.ticks}) {
        for (std::int64_t& t : *ticks) {
            t += shift;
        }
    }
    c.begin_ticks = least + shift;
    c.end_ticks = most + shift + 1;
}

} // namespace

Result<bench::StageView> read_channels(const bench::Bench& bench) {
    TickAxis axis;
    CaptureOutcome outcome = run_capture(
        bench, all_channels(bench.plan().value_or(wire::SyncAchieved{}), kReadingSeconds), axis);
    if (outcome.error) {
        return *outcome.error;
    }
    struct Seen {
        double sum = 0;
        double count = 0;
        double least = kAdcCodes;
        double most = 0;
    };
    std::array<Seen, kChannelCount> seen{};
    const RawSamples& samples = outcome.capture.samples;
    for (std::size_t i = 0; i < samples.code.size(); ++i) {
        Seen& s = seen[samples.channel[i] % kChannelCount];
        const double code = samples.code[i];
        s.sum += code;
        ++s.count;
        s.least = std::min(s.least, code);
        s.most = std::max(s.most, code);
    }
    bench::StageView view;
    for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
        const Seen& s = seen[channel];
        if (s.count > 0) {
            const auto id = static_cast<ChannelId>(channel);
            view.mean[channel] = bench::value_of(id, s.sum / s.count);
            view.swing[channel] =
                std::abs(bench::value_of(id, s.most) - bench::value_of(id, s.least));
        }
    }
    return view;
}

Result<RawCapture> read_trip(const bench::Bench& bench, std::uint32_t trip_ticks) {
    const double clock_hz = bench.identity().clock_hz;
    if (const Status waited = bench.wait_ticks(static_cast<std::uint32_t>(kFreezeS * clock_hz));
        !waited) {
        return waited.error();
    }
    const auto stopped = bench.stop_capture(); // none runs; it says where the blocks end
    if (!stopped) {
        return stopped.error();
    }
    const std::uint16_t end = stopped.value().blocks;
    const auto keep_all = static_cast<std::uint16_t>(end - 2 * kMostBlocks);
    const auto held = bench.read_blocks({end, 0, keep_all}, {});
    if (!held) {
        return held.error();
    }
    TickAxis axis;
    RawCapture capture;
    capture.purpose = kTripPurpose;
    capture.sync_on = bench.sync_on();
    capture.plan = bench.plan().value_or(wire::SyncAchieved{});
    const std::int64_t trip = axis.unwrap(trip_ticks);
    BlockDecoder decoder(capture, axis);
    std::uint16_t next = held.value().oldest;
    for (int n = 0; n < kMostBlocks && next != end; ++n, ++next) {
        const auto answer = bench.read_blocks(
            {next, 1, keep_all}, [&](const wire::BlockHead& head, link::Bytes words) {
                if (head.sequence == next) { // once: an answer that is late has another number
                    decoder.add(head, words);
                }
            });
        if (!answer) {
            return answer.error();
        }
    }
    capture.gaps.clear(); // what it no longer has is not missing
    move_to(capture, trip);
    return capture;
}

std::vector<LastReading> last_readings(const RawCapture& capture, std::uint32_t trip_ticks,
                                       double clock_hz) {
    const std::int64_t trip =
        trip_ticks + (capture.begin_ticks > trip_ticks ? std::int64_t{1} << 32 : 0);
    std::vector<LastReading> out;
    for (std::size_t channel = 0; channel < kChannelCount; ++channel) {
        for (std::size_t i = capture.samples.ticks.size(); i-- > 0;) {
            if (capture.samples.channel[i] == channel) {
                const auto id = static_cast<ChannelId>(channel);
                const std::uint16_t code = capture.samples.code[i];
                out.push_back({id, code, bench::value_of(id, code),
                               static_cast<double>(trip - capture.samples.ticks[i]) / clock_hz});
                break;
            }
        }
    }
    return out;
}

} // namespace yokedock::capture
