// SPDX-License-Identifier: MIT
#include "host/capture/guarded_schedules.hpp"
#include <array>
#include <initializer_list>
#include <numeric>
#include <span>

namespace yokedock::capture {
namespace {

using enum ChannelId;

// Converter clock = CPU clock / 2^n. 500 kHz, where a conversion and its handler (27 * 2^n / 2 and
// some 500 ticks) fit into a line; else 1 MHz.
constexpr std::uint8_t kFastPrescale = 4;
constexpr std::uint8_t kUsualPrescale = 5;
constexpr std::uint16_t kUsualTicks = 932;

constexpr std::uint16_t kYokeStep = 12; ///< of each of three entries, which lie 4 apart
constexpr std::array<std::uint16_t, 4> kOffsets{0, 2, 1, 3};

struct Want {
    ChannelId channel;
    bool quiet = false;
};

std::uint8_t mode(wire::EdgeMode edge_mode) {
    return static_cast<std::uint8_t>(edge_mode);
}

std::uint16_t line_ticks(const wire::SyncAchieved& plan) {
    return static_cast<std::uint16_t>(2 * plan.half_line_ticks);
}

unsigned frame_lines(const wire::SyncAchieved& plan) {
    return plan.half_lines % 2 != 0 ? plan.half_lines : plan.half_lines / 2u;
}

wire::ScheduleEntry& add(wire::CaptureSettings& settings, Want want, std::uint16_t place) {
    wire::ScheduleEntry& entry = settings.schedule[settings.entries++];
    entry.channel = static_cast<std::uint8_t>(static_cast<unsigned>(want.channel) |
                                              (want.quiet ? wire::kScheduleQuiet : 0u));
    entry.first_place = place;
    entry.step = 0;
    entry.places = 1;
    return entry;
}

std::uint8_t prescale_of(const wire::SyncAchieved& plan) {
    return line_ticks(plan) < kUsualTicks ? kFastPrescale : kUsualPrescale;
}

/// The first list whose length has no divisor in common with the frame's lines: else a channel
/// would see the same lines of every frame and never the others.
std::span<const Want> coprime(const wire::SyncAchieved& plan,
                              std::initializer_list<std::span<const Want>> lists) {
    for (const std::span<const Want> list : lists) {
        if (std::gcd(frame_lines(plan), static_cast<unsigned>(list.size())) == 1) {
            return list;
        }
    }
    return *lists.begin();
}

CapturePhase edges(const wire::SyncAchieved& plan, double seconds, wire::EdgeMode edge_mode) {
    CapturePhase phase{"edges", {}, seconds};
    phase.settings.line_edge_mode = mode(edge_mode);
    phase.settings.field_edge_mode = mode(edge_mode);
    add_quiet_guard(phase.settings, plan);
    return phase;
}

CapturePhase vertical(const wire::SyncAchieved& plan, double seconds) {
    static constexpr Want kEleven[] = {{v_yoke_a}, {v_out_v},        {v_yoke_a},        {supply_v},
                                       {v_yoke_a}, {h_peak_v, true}, {v_yoke_a},        {v_out_v},
                                       {v_yoke_a}, {supply_a},       {heatsink_c, true}};
    static constexpr Want kTen[] = {{v_yoke_a}, {v_out_v},         {v_yoke_a}, {supply_v},
                                    {v_yoke_a}, {h_peak_v, true},  {v_yoke_a}, {supply_a},
                                    {v_yoke_a}, {heatsink_c, true}};
    static constexpr Want kNine[] = {{v_yoke_a}, {v_out_v},  {v_yoke_a},
                                     {supply_v}, {v_yoke_a}, {h_peak_v, true},
                                     {v_yoke_a}, {supply_a}, {heatsink_c, true}};
    static constexpr Want kSeven[] = {{v_yoke_a}, {v_out_v},        {supply_v},        {v_yoke_a},
                                      {supply_a}, {h_peak_v, true}, {heatsink_c, true}};
    CapturePhase phase{"vertical", {}, seconds};
    phase.settings.field_edge_mode = mode(wire::EdgeMode::kBoth);
    phase.settings.adc_prescale_log2 = prescale_of(plan);
    const std::uint16_t line = line_ticks(plan);
    for (const Want& want : coprime(plan, {kEleven, kTen, kNine, kSeven})) {
        // As without a guard: through half a line in eight places, all entries together.
        wire::ScheduleEntry& entry =
            add(phase.settings, want, static_cast<std::uint16_t>(line / 10u));
        entry.step = static_cast<std::uint16_t>(line / 16u);
        entry.places = 8;
    }
    return phase;
}

/// Where line edges are stamped the device samples every second line at most, so that seven turns
/// fit into a millisecond: the four fast channels, and two of the load current. Each of its three
/// entries goes through the whole line, so that its swing can be watched, too.
CapturePhase horizontal(const wire::SyncAchieved& plan, double seconds, std::uint16_t offset) {
    CapturePhase phase{"horizontal", {}, seconds};
    phase.settings.line_edge_mode = mode(wire::EdgeMode::kRising);
    phase.settings.adc_prescale_log2 = kFastPrescale;
    const std::uint16_t line = line_ticks(plan);
    // Early in the line: the turn after it, wherever it falls, then comes two lines later.
    const auto guard_place = static_cast<std::uint16_t>(line / 6u);
    const auto yoke = [&](std::uint16_t nth) {
        const auto first = static_cast<std::uint16_t>(offset + 4 * nth);
        wire::ScheduleEntry& entry = add(phase.settings, {h_yoke_a}, first);
        entry.step = kYokeStep;
        entry.places = static_cast<std::uint16_t>((line - 1u - first) / kYokeStep + 1u);
    };
    const auto guards = [&] {
        for (const ChannelId channel : {supply_v, supply_a, v_out_v, h_peak_v}) {
            add(phase.settings, {channel, true}, guard_place);
        }
    };
    guards();
    yoke(0);
    yoke(1);
    guards();
    yoke(2);
    add(phase.settings, {heatsink_c, true}, guard_place);
    return phase;
}

CapturePhase slow(const wire::SyncAchieved& plan, double seconds) {
    static constexpr Want kEleven[] = {{supply_v}, {h_peak_v}, {supply_v},  {supply_a},
                                       {supply_v}, {ref_v},    {supply_v},  {v_out_v, true},
                                       {supply_v}, {h_peak_v}, {heatsink_c}};
    static constexpr Want kTen[] = {{supply_v}, {h_peak_v},      {supply_v}, {supply_a},
                                    {supply_v}, {v_out_v, true}, {supply_v}, {ref_v},
                                    {h_peak_v}, {heatsink_c}};
    static constexpr Want kNine[] = {{supply_v},      {h_peak_v}, {supply_v},
                                     {supply_a},      {supply_v}, {ref_v},
                                     {v_out_v, true}, {supply_v}, {heatsink_c}};
    static constexpr Want kSeven[] = {{supply_v}, {h_peak_v},      {supply_a},  {supply_v},
                                      {ref_v},    {v_out_v, true}, {heatsink_c}};
    CapturePhase phase{"slow", {}, seconds};
    phase.settings.field_edge_mode = mode(wire::EdgeMode::kRising);
    phase.settings.adc_prescale_log2 = prescale_of(plan);
    const auto place = static_cast<std::uint16_t>(line_ticks(plan) * 2u / 5u);
    for (const Want& want : coprime(plan, {kEleven, kTen, kNine, kSeven})) {
        add(phase.settings, want, place);
    }
    return phase;
}

} // namespace

void add_quiet_guard(wire::CaptureSettings& settings, const wire::SyncAchieved& plan) {
    settings.adc_prescale_log2 = kFastPrescale;
    const auto place = static_cast<std::uint16_t>(line_ticks(plan) * 2u / 5u);
    for (const ChannelId channel : {supply_v, supply_a, v_out_v, h_peak_v, heatsink_c}) {
        add(settings, {channel, true}, place);
    }
}

CapturePhase all_channels(const wire::SyncAchieved& plan, double seconds) {
    CapturePhase phase{"readings", {}, seconds};
    phase.settings.adc_prescale_log2 = prescale_of(plan);
    const auto place = static_cast<std::uint16_t>(line_ticks(plan) * 2u / 5u);
    for (const ChannelId channel :
         {supply_v, supply_a, v_out_v, h_peak_v, heatsink_c, ref_v, v_yoke_a}) {
        add(phase.settings, {channel}, place);
    }
    wire::ScheduleEntry& yoke = add(phase.settings, {h_yoke_a}, 1); // over the line: it may swing
    yoke.step = kYokeStep;
    yoke.places = static_cast<std::uint16_t>((line_ticks(plan) - 2u) / kYokeStep + 1u);
    return phase;
}

std::vector<CapturePhase> guarded_phases(const wire::SyncAchieved& plan,
                                         const PhaseSeconds& seconds) {
    std::vector<CapturePhase> phases{edges(plan, seconds.edges, wire::EdgeMode::kRising),
                                     edges(plan, seconds.edges_both, wire::EdgeMode::kBoth),
                                     vertical(plan, seconds.vertical)};
    for (const std::uint16_t offset : kOffsets) {
        phases.push_back(horizontal(plan, seconds.horizontal, offset));
    }
    phases.push_back(slow(plan, seconds.slow));
    return phases;
}

} // namespace yokedock::capture
