// SPDX-License-Identifier: MIT
// Whether a sampling schedule looks at the guarded channels often enough, and the schedule the
// guard samples by when the host asks for none. Pure.
#pragma once
#include "firmware/core/guard.hpp"
#include "firmware/core/limits.hpp"
#include "firmware/core/sampler.hpp"

namespace yokedock {
namespace firmware {

/// How a schedule is sampled.
struct SampleTiming {
    uint16_t line_ticks; ///< whole ticks of a line
    uint16_t spacing;    ///< of two triggers at least: trigger_spacing()
};

inline SampleTiming timing_of(const wire::CaptureSettings& s, uint16_t line_ticks, bool picture) {
    const bool edges = s.line_edge_mode != static_cast<uint8_t>(wire::EdgeMode::kOff);
    return {line_ticks,
            trigger_spacing(conversion_ticks(s.adc_prescale_log2), line_ticks, edges || picture)};
}

inline uint16_t place_of(const wire::ScheduleEntry& entry, uint16_t use) {
    return static_cast<uint16_t>(entry.first_place + entry.step * use);
}
inline uint16_t last_place(const wire::ScheduleEntry& entry) {
    return place_of(entry, static_cast<uint16_t>(entry.places - 1u));
}

/// Lines from a turn at place `from` to the next one at place `to`: one, or as many as its trigger
/// needs to come late enough.
inline uint8_t lines_between(uint16_t from, uint16_t to, const SampleTiming& t) {
    int32_t left = static_cast<int32_t>(t.spacing) + from - to - t.line_ticks;
    uint8_t lines = 1;
    for (; left > 0; left -= t.line_ticks) {
        ++lines;
    }
    return lines;
}

/// The longest time, in ticks, between two samples of a channel, and between two that are told;
/// kNever where there is none.
struct Gaps {
    static constexpr uint32_t kNever = 0xFFFFFFFFu;
    uint32_t channel[wire::kGuardChannels];
    uint32_t told;
};

/// Walks the schedule. Where all entries step together, through few places, every round is walked,
/// and the gaps are exact; else each turn is taken to be at its last place and the next one at its
/// first, and the gaps are the longest there could be.
inline Gaps gaps_of(const wire::CaptureSettings& s, const SampleTiming& t) {
    constexpr uint16_t kMostPlaces = 16;
    constexpr uint8_t kTold = wire::kGuardChannels;
    uint32_t last[kTold + 1];
    uint32_t longest[kTold + 1];
    for (uint8_t i = 0; i <= kTold; ++i) {
        last[i] = Gaps::kNever;
        longest[i] = Gaps::kNever;
    }
    const uint16_t places = s.schedule[0].places;
    bool together = places <= kMostPlaces;
    for (uint8_t i = 0; i < s.entries; ++i) {
        together = together && s.schedule[i].places == places;
    }
    const uint8_t rounds = together ? static_cast<uint8_t>(places + 1) : uint8_t{2};
    uint32_t line_start = 0;
    for (uint8_t round = 0; round < rounds; ++round) {
        const uint16_t use = round < places ? round : static_cast<uint16_t>(round - places);
        const uint16_t next_use = static_cast<uint16_t>(use + 1) < places ? use + 1u : 0u;
        for (uint8_t i = 0; i < s.entries; ++i) {
            const wire::ScheduleEntry& entry = s.schedule[i];
            const bool end = i + 1 == s.entries;
            const wire::ScheduleEntry& next = s.schedule[end ? 0 : i + 1];
            // Not together: `earliest` and `latest` are the two ends of where the turn may be.
            const uint16_t earliest = together ? place_of(entry, use) : entry.first_place;
            const uint16_t latest = together ? earliest : last_place(entry);
            const uint16_t after =
                together ? place_of(next, end ? next_use : use) : next.first_place;
            const uint8_t of[2] = {static_cast<uint8_t>(entry.channel & wire::kScheduleChannelMask),
                                   (entry.channel & wire::kScheduleQuiet) == 0 ? kTold
                                                                               : uint8_t{0xFF}};
            for (const uint8_t at : of) {
                if (at > kTold) {
                    continue;
                }
                if (last[at] != Gaps::kNever) {
                    const uint32_t gap = line_start + latest - last[at];
                    longest[at] =
                        longest[at] == Gaps::kNever || gap > longest[at] ? gap : longest[at];
                }
                last[at] = line_start + earliest;
            }
            line_start += static_cast<uint32_t>(lines_between(latest, after, t)) * t.line_ticks;
        }
    }
    Gaps gaps{};
    for (uint8_t i = 0; i < kTold; ++i) {
        gaps.channel[i] = longest[i];
    }
    gaps.told = longest[kTold];
    return gaps;
}

inline bool has_limit(const wire::GuardLimits& limits, uint8_t channel) {
    return limits.low[channel] != 0 || limits.high[channel] != kAdcCodes - 1;
}

/// Heat sink and reference change slowly: that they come at all is enough.
inline bool is_slow(uint8_t channel) {
    return channel == static_cast<uint8_t>(ChannelId::heatsink_c) ||
           channel == static_cast<uint8_t>(ChannelId::ref_v);
}

/// Every channel with a limit is sampled, and the fast ones so often that a trip comes within
/// kTripMicroseconds; the line current, where its swing is watched, over half the line or more.
inline bool watches_enough(const wire::CaptureSettings& s, const wire::GuardLimits& limits,
                           uint16_t line_ticks, bool picture, uint32_t clock_hz) {
    const SampleTiming timing = timing_of(s, line_ticks, picture);
    // After the last reading that is needed: its conversion, and its handler, which may be late.
    const uint32_t after = conversion_ticks(s.adc_prescale_log2) + kResultWindowTicks;
    const uint32_t most = clock_hz / 1000000u * kTripMicroseconds - after;
    const Gaps gaps = gaps_of(s, timing);
    for (uint8_t channel = 0; channel < wire::kGuardChannels; ++channel) {
        if (!has_limit(limits, channel)) {
            continue;
        }
        const uint32_t gap = gaps.channel[channel];
        if (is_slow(channel) ? gap == Gaps::kNever : gap > most / limits.strikes) {
            return false;
        }
    }
    const uint8_t line_current = static_cast<uint8_t>(ChannelId::h_yoke_a);
    for (uint8_t i = 0; limits.span[1] != 0 && i < s.entries; ++i) {
        const wire::ScheduleEntry& entry = s.schedule[i];
        const uint16_t width = static_cast<uint16_t>(last_place(entry) - entry.first_place);
        if ((entry.channel & wire::kScheduleChannelMask) == line_current &&
            (width < line_ticks / 2 || entry.places > 0xFF)) {
            return false;
        }
    }
    return true;
}

/// Told samples come so close that the low half of the clock tells their distance. Without quiet
/// entries they do: eight or twelve lines of any rate are less.
inline bool told_often_enough(const wire::CaptureSettings& s, uint16_t line_ticks, bool picture) {
    uint8_t quiet = 0;
    for (uint8_t i = 0; i < s.entries; ++i) {
        quiet |= s.schedule[i].channel & wire::kScheduleQuiet;
    }
    if (quiet == 0) {
        return true;
    }
    const uint32_t gap = gaps_of(s, timing_of(s, line_ticks, picture)).told;
    return gap == Gaps::kNever || gap < 60000;
}

/// The guard's own schedule: what has a limit or a swing, and the rail, a line each where the rate
/// allows; places wander together over the line, so that load currents show their swing. keep:
/// samples go into the pool.
inline wire::CaptureSettings guard_schedule(const wire::GuardLimits& limits, uint16_t line_ticks,
                                            bool keep) {
    wire::CaptureSettings s;
    constexpr uint8_t kAccurate = 5; // a converter clock of 500 kHz; else the fastest, 1 MHz
    constexpr uint8_t kFastest = 4;
    s.adc_prescale_log2 =
        trigger_spacing(conversion_ticks(kAccurate), line_ticks, false) <= line_ticks ? kAccurate
                                                                                      : kFastest;
    const uint16_t step = static_cast<uint16_t>(line_ticks / 16);
    for (uint8_t channel = 0; channel < wire::kGuardChannels; ++channel) {
        const bool rail = channel == static_cast<uint8_t>(ChannelId::supply_v);
        const bool swing = channel < 2 && limits.span[channel] != 0;
        if (!rail && !swing && !has_limit(limits, channel)) {
            continue;
        }
        wire::ScheduleEntry& entry = s.schedule[s.entries++];
        entry.channel = static_cast<uint8_t>(channel | (keep ? 0 : wire::kScheduleQuiet));
        entry.first_place = step;
        entry.step = step;
        entry.places = 14;
    }
    return s;
}

} // namespace firmware
} // namespace yokedock
