// SPDX-License-Identifier: MIT
#include "host/record/raw_json.hpp"
#include "host/record/wire_json.hpp"
#include "shared/sync/plan.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

/// Ticks of 1000 hours at 1 GHz: no capture lasts longer, and sums of such times stay far from
/// overflow.
constexpr std::int64_t kMostTicks = 3'600'000'000'000'000;
/// Each field start expands to hundreds of line starts, hence fewer of them: four hours at 60 Hz.
constexpr std::size_t kMostFieldStarts = 1'000'000;
constexpr std::size_t kMostGaps = 1'000'000;

/// X(name in the file, BlockKind)
#define YOKEDOCK_BLOCK_KINDS(X)                                                                    \
    X("samples", kSamples)                                                                         \
    X("line_edges", kLineEdges) X("field_edges", kFieldEdges) X("field_starts", kFieldStarts)

const char* block_kind_name(wire::BlockKind kind) {
#define X(name, id)                                                                                \
    if (kind == wire::BlockKind::id) {                                                             \
        return name;                                                                               \
    }
    YOKEDOCK_BLOCK_KINDS(X)
#undef X
    return "unknown";
}

wire::BlockKind block_kind_from(const Node& node) {
    const std::string text = node.text();
#define X(name, id)                                                                                \
    if (text == name) {                                                                            \
        return wire::BlockKind::id;                                                                \
    }
    YOKEDOCK_BLOCK_KINDS(X)
#undef X
    node.complain('"' + text.substr(0, 40) + '"', "the name of a kind of block");
    return wire::BlockKind::kSamples;
}

std::int64_t ticks(const Node& node) {
    return node.integer<std::int64_t>(-kMostTicks, kMostTicks);
}

std::vector<std::int64_t> ordered_ticks(const Node& node, std::size_t most) {
    auto out = node.integers<std::int64_t>(-kMostTicks, kMostTicks, most);
    const auto fall = std::is_sorted_until(out.begin(), out.end());
    if (fall != out.end()) {
        node.complain(fmt::format("going back in time at element {}", fall - out.begin()),
                      "times that never decrease");
    }
    return out;
}

/// vector<bool> is stored as 0 and 1: a hundred thousand "false" would double the file.
Json bits_to_json(const std::vector<bool>& bits) {
    Json out = Json::array();
    for (const bool bit : bits) {
        out.push_back(bit ? 1 : 0);
    }
    return out;
}

std::vector<bool> bits_from_json(const Node& node, std::size_t most) {
    const auto numbers = node.integers<std::uint8_t>(0, 1, most);
    return {numbers.begin(), numbers.end()};
}

void check_same_size(const Node& node, const char* a, std::size_t size_a, const char* b,
                     std::size_t size_b) {
    if (size_a != size_b) {
        node.complain(fmt::format("holding {} {} and {} {}", size_a, a, size_b, b),
                      "as many of the one as of the other");
    }
}

Json settings_to_json(const wire::CaptureSettings& settings) {
    Json schedule = Json::array();
    for (std::size_t i = 0; i < std::min<std::size_t>(settings.entries, wire::kMaxSchedule); ++i) {
        schedule.push_back(message_to_json(settings.schedule[i]));
    }
    return {{"line_edge_mode", settings.line_edge_mode},
            {"field_edge_mode", settings.field_edge_mode},
            {"adc_prescale_log2", settings.adc_prescale_log2},
            {"schedule", schedule}};
}

wire::CaptureSettings settings_from_json(const Node& node) {
    wire::CaptureSettings settings;
    settings.line_edge_mode = node.at("line_edge_mode").integer<std::uint8_t>(0, 3);
    settings.field_edge_mode = node.at("field_edge_mode").integer<std::uint8_t>(0, 3);
    settings.adc_prescale_log2 = node.at("adc_prescale_log2").integer<std::uint8_t>(4, 7);
    for (const Node& entry : node.at("schedule").elements(wire::kMaxSchedule)) {
        settings.schedule[settings.entries++] = message_from_json<wire::ScheduleEntry>(entry);
    }
    return settings;
}

wire::SyncAchieved plan_from_json(const Node& node) {
    wire::SyncAchieved plan = message_from_json<wire::SyncAchieved>(node);
    // make_plan's promises, which the expansion to line starts relies on.
    (void)node.at("half_line_denominator").integer<std::uint32_t>(1, sync::kMaxDenominator);
    if (!node.failed() && plan.half_line_numerator >= plan.half_line_denominator) {
        node.at("half_line_numerator").complain("not below the denominator", "a fraction below 1");
    }
    const bool none = plan.half_line_ticks == 0 && plan.half_lines == 0; // sync never set
    if (!none) {
        (void)node.at("half_line_ticks").integer<std::uint16_t>(10, 65535);
        (void)node.at("half_lines")
            .integer<std::uint16_t>(sync::kMinHalfLines, sync::kMaxHalfLines);
        if (plan.pre_pulses + plan.broad_pulses + plan.post_pulses > plan.half_lines / 4) {
            node.complain("a plan of more pulses than lines", "one the bench can make");
        }
    }
    return plan;
}

Json edges_to_json(const capture::RawEdges& edges) {
    return {{"ticks", edges.ticks}, {"rising", bits_to_json(edges.rising)}};
}

capture::RawEdges edges_from_json(const Node& node) {
    capture::RawEdges edges;
    edges.ticks = ordered_ticks(node.at("ticks"), kMostValues);
    edges.rising = bits_from_json(node.at("rising"), kMostValues);
    check_same_size(node, "ticks", edges.ticks.size(), "rising", edges.rising.size());
    return edges;
}

capture::RawSamples samples_from_json(const Node& node) {
    capture::RawSamples samples;
    samples.ticks = ordered_ticks(node.at("trigger_ticks"), kMostValues);
    samples.code = node.at("code").integers<std::uint16_t>(0, kAdcCodes - 1, kMostValues);
    samples.channel = node.at("channel").integers<std::uint8_t>(0, kChannelCount - 1, kMostValues);
    check_same_size(node, "trigger_ticks", samples.ticks.size(), "code", samples.code.size());
    check_same_size(node, "trigger_ticks", samples.ticks.size(), "channel", samples.channel.size());
    return samples;
}

capture::RawFieldStarts field_starts_from_json(const Node& node, std::uint32_t denominator) {
    capture::RawFieldStarts starts;
    starts.ticks = ordered_ticks(node.at("ticks"), kMostFieldStarts);
    starts.accumulator =
        node.at("accumulator").integers<std::uint32_t>(0, denominator - 1, kMostFieldStarts);
    starts.mid_line = bits_from_json(node.at("mid_line"), kMostFieldStarts);
    check_same_size(node, "ticks", starts.ticks.size(), "accumulator", starts.accumulator.size());
    check_same_size(node, "ticks", starts.ticks.size(), "mid_line", starts.mid_line.size());
    return starts;
}

Json gaps_to_json(const std::vector<capture::RawGap>& gaps) {
    Json out = Json::array();
    for (const capture::RawGap& gap : gaps) {
        out.push_back({{"kind", block_kind_name(gap.kind)},
                       {"begin_ticks", gap.begin_ticks},
                       {"end_ticks", gap.end_ticks}});
    }
    return out;
}

capture::RawGap gap_from_json(const Node& node) {
    capture::RawGap gap{};
    gap.kind = block_kind_from(node.at("kind"));
    gap.begin_ticks = ticks(node.at("begin_ticks"));
    gap.end_ticks = ticks(node.at("end_ticks"));
    return gap;
}

} // namespace

Json capture_to_json(const capture::RawCapture& raw) {
    return {{"purpose", raw.purpose},
            {"sync_on", raw.sync_on},
            {"begin_ticks", raw.begin_ticks},
            {"end_ticks", raw.end_ticks},
            {"aperture_ticks", raw.aperture_ticks},
            {"conversion_ticks", raw.conversion_ticks},
            {"words_dropped", raw.words_dropped},
            {"settings", settings_to_json(raw.settings)},
            {"plan", message_to_json(raw.plan)},
            {"samples",
             {{"trigger_ticks", raw.samples.ticks},
              {"code", raw.samples.code},
              {"channel", raw.samples.channel}}},
            {"line_edges", edges_to_json(raw.line_edges)},
            {"field_edges", edges_to_json(raw.field_edges)},
            {"field_starts",
             {{"ticks", raw.field_starts.ticks},
              {"accumulator", raw.field_starts.accumulator},
              {"mid_line", bits_to_json(raw.field_starts.mid_line)}}},
            {"gaps", gaps_to_json(raw.gaps)}};
}

capture::RawCapture capture_from_json(const Node& node) {
    capture::RawCapture raw;
    raw.purpose = node.at("purpose").text();
    raw.sync_on = node.at("sync_on").boolean();
    raw.begin_ticks = ticks(node.at("begin_ticks"));
    raw.end_ticks = ticks(node.at("end_ticks"));
    raw.aperture_ticks = node.at("aperture_ticks").integer<std::uint16_t>(0, 65535);
    raw.conversion_ticks = node.at("conversion_ticks").integer<std::uint16_t>(0, 65535);
    raw.words_dropped = node.at("words_dropped").integer<std::uint32_t>(0, UINT32_MAX);
    raw.settings = settings_from_json(node.at("settings"));
    raw.plan = plan_from_json(node.at("plan"));
    raw.samples = samples_from_json(node.at("samples"));
    raw.line_edges = edges_from_json(node.at("line_edges"));
    raw.field_edges = edges_from_json(node.at("field_edges"));
    raw.field_starts =
        field_starts_from_json(node.at("field_starts"), raw.plan.half_line_denominator);
    for (const Node& gap : node.at("gaps").elements(kMostGaps)) {
        raw.gaps.push_back(gap_from_json(gap));
    }
    return raw;
}

} // namespace yokedock::record
