// SPDX-License-Identifier: MIT
#include "host/capture/schedules.hpp"
#include "host/capture/guarded_schedules.hpp"
#include <array>
#include <numeric>

namespace yokedock::capture {
namespace {

// Converter clock = CPU clock / 2^n. Horizontal: 1 MHz, for the shortest aperture. Vertical: 500
// kHz, the slowest that still gives one conversion per line at 15.7 kHz. Slow: 250 kHz, most
// accurate, every second line.
constexpr std::uint8_t kHorizontalPrescale = 4;
constexpr std::uint8_t kVerticalPrescale = 5;
constexpr std::uint8_t kSlowPrescale = 6;

constexpr std::uint16_t kPlaceStep = 4;
/// Of the horizontal captures: together one place per tick; cut off after two, still evenly spaced.
constexpr std::array<std::uint16_t, 4> kOffsets{0, 2, 1, 3};

std::uint8_t mode(wire::EdgeMode edge_mode) {
    return static_cast<std::uint8_t>(edge_mode);
}

std::uint16_t line_ticks(const wire::SyncAchieved& plan) {
    return static_cast<std::uint16_t>(2 * plan.half_line_ticks);
}

/// Lines after which the sync repeats: one field, or two when interlaced.
unsigned frame_lines(const wire::SyncAchieved& plan) {
    return plan.half_lines % 2 != 0 ? plan.half_lines : plan.half_lines / 2u;
}

/// Appends an entry that samples the channel at one place, in the middle of the trace.
void add_fixed(wire::CaptureSettings& settings, ChannelId channel, std::uint16_t line) {
    wire::ScheduleEntry& entry = settings.schedule[settings.entries++];
    entry.channel = static_cast<std::uint8_t>(channel);
    entry.first_place = static_cast<std::uint16_t>(line * 2u / 5u);
    entry.step = 0;
    entry.places = 1;
}

/// Of two schedules, one of 7 and one of 8 entries, the one whose length has no divisor in common
/// with the frame's lines: else a channel would see the same lines of every frame and never the
/// others.
template <std::size_t N7, std::size_t N8>
void add_coprime(wire::CaptureSettings& settings, const wire::SyncAchieved& plan,
                 const std::array<ChannelId, N7>& seven, const std::array<ChannelId, N8>& eight) {
    static_assert(N7 == 7 && N8 == 8 && wire::kMaxSchedule >= 8);
    const std::uint16_t line = line_ticks(plan);
    if (std::gcd(frame_lines(plan), 8u) == 1) {
        for (const ChannelId channel : eight) {
            add_fixed(settings, channel, line);
        }
    } else {
        for (const ChannelId channel : seven) {
            add_fixed(settings, channel, line);
        }
    }
}

CapturePhase edges(double seconds, wire::EdgeMode edge_mode) {
    CapturePhase phase{"edges", {}, seconds};
    phase.settings.line_edge_mode = mode(edge_mode);
    phase.settings.field_edge_mode = mode(edge_mode);
    return phase;
}

CapturePhase vertical(const wire::SyncAchieved& plan, double seconds) {
    using enum ChannelId;
    CapturePhase phase{"vertical", {}, seconds};
    phase.settings.field_edge_mode = mode(wire::EdgeMode::kBoth);
    phase.settings.adc_prescale_log2 = kVerticalPrescale;
    add_coprime(
        phase.settings, plan,
        std::array{v_yoke_a, v_out_v, v_yoke_a, supply_v, v_yoke_a, supply_a, v_yoke_a},
        std::array{v_yoke_a, v_out_v, v_yoke_a, supply_v, v_yoke_a, v_out_v, v_yoke_a, supply_a});
    // Retrace is some ten lines long. At one place per line it would be seen at ten points, the
    // same in each frame of a locked board; stepping through half a line in eight places shows it
    // every 8 us. All entries step together, so that only the way back, one line in 56 or 64, is
    // too short for a conversion and is left out.
    const std::uint16_t line = line_ticks(plan);
    for (std::uint8_t i = 0; i < phase.settings.entries; ++i) {
        wire::ScheduleEntry& entry = phase.settings.schedule[i];
        entry.first_place = static_cast<std::uint16_t>(line / 10u);
        entry.step = static_cast<std::uint16_t>(line / 16u);
        entry.places = 8;
    }
    return phase;
}

/// Equivalent-time sampling of the whole line: eight sections, each stepped through by one entry.
/// Sections rise by twos and fall by twos, so that no trigger comes less than a line minus two
/// sections after the one before: a sweep in plain order would jump back by a whole line at its end
/// and lose samples there.
CapturePhase horizontal(const wire::SyncAchieved& plan, double seconds, std::uint16_t offset) {
    CapturePhase phase{"horizontal", {}, seconds};
    phase.settings.line_edge_mode = mode(wire::EdgeMode::kRising);
    phase.settings.adc_prescale_log2 = kHorizontalPrescale;
    const std::uint16_t line = line_ticks(plan);
    for (const unsigned section : {0u, 2u, 4u, 6u, 7u, 5u, 3u, 1u}) {
        const auto begin = static_cast<std::uint16_t>(line * section / 8 + offset);
        const auto end = static_cast<std::uint16_t>(line * (section + 1) / 8);
        wire::ScheduleEntry& entry = phase.settings.schedule[phase.settings.entries++];
        entry.channel = static_cast<std::uint8_t>(ChannelId::h_yoke_a);
        entry.first_place = begin;
        entry.step = kPlaceStep;
        entry.places = static_cast<std::uint16_t>((end - 1 - begin) / kPlaceStep + 1);
    }
    return phase;
}

CapturePhase slow(const wire::SyncAchieved& plan, double seconds) {
    using enum ChannelId;
    CapturePhase phase{"slow", {}, seconds};
    phase.settings.field_edge_mode = mode(wire::EdgeMode::kRising);
    phase.settings.adc_prescale_log2 = kSlowPrescale;
    add_coprime(
        phase.settings, plan,
        std::array{supply_v, h_peak_v, supply_v, heatsink_c, supply_v, ref_v, supply_a},
        std::array{supply_v, h_peak_v, supply_v, heatsink_c, supply_v, ref_v, supply_v, supply_a});
    return phase;
}

} // namespace

std::vector<CapturePhase> measurement_phases(const wire::SyncAchieved& plan,
                                             const PhaseSeconds& seconds, Guarding guarding) {
    if (guarding == Guarding::kWatched) {
        return guarded_phases(plan, seconds);
    }
    std::vector<CapturePhase> phases{edges(seconds.edges, wire::EdgeMode::kRising),
                                     edges(seconds.edges_both, wire::EdgeMode::kBoth),
                                     vertical(plan, seconds.vertical)};
    for (const std::uint16_t offset : kOffsets) {
        phases.push_back(horizontal(plan, seconds.horizontal, offset));
    }
    phases.push_back(slow(plan, seconds.slow));
    return phases;
}

double total_seconds(const std::vector<CapturePhase>& phases) {
    double total = 0;
    for (const CapturePhase& phase : phases) {
        total += phase.seconds;
    }
    return total;
}

} // namespace yokedock::capture
