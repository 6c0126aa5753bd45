// SPDX-License-Identifier: MIT
#include "host/record/raw_json.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t kMostChannels = 32;
constexpr double kMostSeconds = 3.6e6;

std::vector<double> ordered_times(const Node& node) {
    auto out = node.numbers(kMostValues);
    const auto fall = std::is_sorted_until(out.begin(), out.end());
    if (fall != out.end()) {
        node.complain(fmt::format("going back in time at element {}", fall - out.begin()),
                      "times that never decrease");
    }
    return out;
}

Json samples_to_json(const capture::Samples& samples) {
    return {{"time_s", samples.time_s},         {"value", samples.value},
            {"resolution", samples.resolution}, {"gain_u_relative", samples.gain_u_relative},
            {"zero_u", samples.zero_u},         {"delay_s", samples.delay_s},
            {"calibrated", samples.calibrated}};
}

capture::Samples samples_from_json(const Node& node) {
    capture::Samples samples;
    samples.time_s = ordered_times(node.at("time_s"));
    samples.value = node.at("value").numbers(kMostValues);
    if (samples.time_s.size() != samples.value.size()) {
        node.complain(fmt::format("holding {} times and {} values", samples.time_s.size(),
                                  samples.value.size()),
                      "as many of the one as of the other");
    }
    samples.resolution = node.at("resolution").number(0);
    samples.gain_u_relative = node.at("gain_u_relative").number(0, 10);
    samples.zero_u = node.at("zero_u").number(0);
    samples.delay_s = node.at("delay_s").number(-1, 1);
    samples.calibrated = node.at("calibrated").boolean();
    samples.of_bench = false; // those are kept as raw codes
    return samples;
}

Json pulses_to_json(const capture::PulseTrain& pulses) {
    Json unwatched = Json::array();
    for (const capture::Interval& interval : pulses.unwatched) {
        unwatched.push_back({{"begin_s", interval.begin_s}, {"end_s", interval.end_s}});
    }
    return {{"rise_s", pulses.rise_s},
            {"fall_s", pulses.fall_s},
            {"unwatched", unwatched},
            {"resolution_s", pulses.resolution_s}};
}

capture::PulseTrain pulses_from_json(const Node& node) {
    capture::PulseTrain pulses;
    pulses.rise_s = ordered_times(node.at("rise_s"));
    pulses.fall_s = ordered_times(node.at("fall_s"));
    for (const Node& interval : node.at("unwatched").elements(kMostValues)) {
        pulses.unwatched.push_back({interval.at("begin_s").number(-kMostSeconds, kMostSeconds),
                                    interval.at("end_s").number(-kMostSeconds, kMostSeconds)});
    }
    pulses.resolution_s = node.at("resolution_s").number(0, 1);
    return pulses;
}

Json sync_to_json(const capture::SyncTimeline& sync) {
    Json mid_line = Json::array();
    for (const bool bit : sync.field_mid_line) {
        mid_line.push_back(bit ? 1 : 0);
    }
    return {{"field_start_s", sync.field_start_s},
            {"field_mid_line", mid_line},
            {"line_start_s", sync.line_start_s},
            {"vertical_sync_offset_s", sync.vertical_sync_offset_s},
            {"resolution_s", sync.resolution_s}};
}

capture::SyncTimeline sync_from_json(const Node& node) {
    capture::SyncTimeline sync;
    sync.field_start_s = ordered_times(node.at("field_start_s"));
    const auto bits = node.at("field_mid_line").integers<std::uint8_t>(0, 1, kMostValues);
    sync.field_mid_line.assign(bits.begin(), bits.end());
    if (sync.field_start_s.size() != sync.field_mid_line.size()) {
        node.complain(fmt::format("holding {} field_start_s and {} field_mid_line",
                                  sync.field_start_s.size(), sync.field_mid_line.size()),
                      "as many of the one as of the other");
    }
    sync.line_start_s = ordered_times(node.at("line_start_s"));
    sync.vertical_sync_offset_s = node.at("vertical_sync_offset_s").number(-1, 1);
    if (const auto resolution = node.maybe("resolution_s")) { // later than the first schema 1 files
        sync.resolution_s = resolution->number(0, 1);
    }
    return sync;
}

} // namespace

Json observation_to_json(const capture::Observation& observation) {
    Json channels = Json::object();
    for (const auto& [name, samples] : observation.channels) {
        channels[name] = samples_to_json(samples);
    }
    return {{"line_rate_hz", observation.line_rate_hz},
            {"field_rate_hz", observation.field_rate_hz},
            {"interlaced", observation.interlaced},
            {"sync_on", observation.sync_on},
            {"clock_u_relative", observation.clock_u_relative},
            {"channels", channels},
            {"field_pulses", pulses_to_json(observation.field_pulses)},
            {"line_pulses", pulses_to_json(observation.line_pulses)},
            {"sync", sync_to_json(observation.sync)}};
}

capture::Observation observation_from_json(const Node& node) {
    capture::Observation observation;
    observation.line_rate_hz = node.at("line_rate_hz").number(0, 1e6);
    observation.field_rate_hz = node.at("field_rate_hz").number(0, 1e4);
    observation.interlaced = node.at("interlaced").boolean();
    observation.sync_on = node.at("sync_on").boolean();
    observation.clock_u_relative = node.at("clock_u_relative").number(0, 1);
    for (const auto& [name, channel] : node.at("channels").members(kMostChannels)) {
        observation.channels[name] = samples_from_json(channel);
    }
    observation.field_pulses = pulses_from_json(node.at("field_pulses"));
    observation.line_pulses = pulses_from_json(node.at("line_pulses"));
    observation.sync = sync_from_json(node.at("sync"));
    observation.imported = true;
    return observation;
}

} // namespace yokedock::record
