// SPDX-License-Identifier: MIT
#include "host/record/power_record.hpp"
#include "host/bench/channel_codes.hpp"
#include <cmath>

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t kMostTexts = 1000;
constexpr double kMostSeconds = 1e6;
constexpr const char* kBench = "bench";
constexpr const char* kOutside = "outside";

/// "supply_v" and the like, each a number or null.
Json readings_to_json(const bench::StageReadings& readings) {
    Json out = Json::object();
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        out[kChannels[i].name] = readings[i] ? Json(*readings[i]) : Json(nullptr);
    }
    return out;
}

bench::StageReadings readings_from_json(const Node& node) {
    bench::StageReadings readings{};
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        if (const double value = node.at(kChannels[i].name).number_or_null();
            std::isfinite(value)) {
            readings[i] = value;
        }
    }
    return readings;
}

Json stage_to_json(const bench::StageReport& stage) {
    return {{"stage", bench::stage_word(stage.stage)},
            {"time_s", stage.time_s},
            {"readings", readings_to_json(stage.readings)},
            {"swings", readings_to_json(stage.swing)},
            {"not_measured", stage.not_measured}};
}

bench::StageReport stage_from_json(const Node& node) {
    bench::StageReport report;
    const Node word = node.at("stage");
    const std::string is = word.text();
    bool known = false;
#define X(id, text)                                                                                \
    if (is == text) {                                                                              \
        report.stage = bench::EnergiseStage::id;                                                   \
        known = true;                                                                              \
    }
    YOKEDOCK_ENERGISE_STAGES(X)
#undef X
    if (!known) {
        word.complain('"' + is.substr(0, 40) + '"', "off, checked, starting, live or settled");
    }
    report.time_s = node.at("time_s").number(0, kMostSeconds);
    report.readings = readings_from_json(node.at("readings"));
    if (const auto swings = node.maybe("swings")) {
        report.swing = readings_from_json(*swings);
    }
    report.not_measured = node.at("not_measured").text();
    return report;
}

Json trip_to_json(const TripRecord& trip) {
    return {{"cause", trip.cause},
            {"text", trip.text},
            {"stage", trip.stage},
            {"channel", trip.channel},
            {"value", trip.value ? Json(*trip.value) : Json(nullptr)},
            {"unit", trip.unit}};
}

TripRecord trip_from_json(const Node& node) {
    TripRecord trip;
    trip.cause = node.at("cause").text();
    trip.text = node.at("text").text();
    trip.stage = node.at("stage").text();
    trip.channel = node.at("channel").text();
    if (const double value = node.at("value").number_or_null(); std::isfinite(value)) {
        trip.value = value;
    }
    trip.unit = node.at("unit").text();
    return trip;
}

std::vector<std::string> texts(const Node& node) {
    std::vector<std::string> out;
    for (const Node& element : node.elements(kMostTexts)) {
        out.push_back(element.text());
    }
    return out;
}

} // namespace

TripRecord trip_record(const bench::Trip& trip) {
    TripRecord out;
    out.cause = link::stop_cause_name(trip.cause);
    out.text = bench::trip_text(trip);
    out.stage = trip.stage;
    if (trip.reading) {
        const Channel& row = kChannels[static_cast<std::size_t>(trip.reading->channel)];
        const double value = bench::value_of(trip.reading->channel, trip.reading->code);
        out.channel = row.name;
        out.value =
            trip.reading->is_swing ? value - bench::value_of(trip.reading->channel, 0) : value;
        out.unit = row.unit;
    }
    return out;
}

Json power_to_json(const PowerRecord& power) {
    Json answers = Json::array();
    for (const PowerAnswerGiven& each : power.answers) {
        answers.push_back({{"id", each.id}, {"question", each.question}, {"answer", each.answer}});
    }
    Json stages = Json::array();
    for (const bench::StageReport& stage : power.stages) {
        stages.push_back(stage_to_json(stage));
    }
    return {{"supply", power.by_bench ? kBench : kOutside},
            {"nothing_changed", power.nothing_changed},
            {"answers", answers},
            {"stages", stages},
            {"unguarded", power.unguarded},
            {"notes", power.notes},
            {"trip", power.trip ? trip_to_json(*power.trip) : Json(nullptr)}};
}

PowerRecord power_from_json(const Node& node) {
    PowerRecord power;
    const Node supply = node.at("supply");
    const std::string is = supply.text();
    power.by_bench = is == kBench;
    if (is != kBench && is != kOutside) {
        supply.complain('"' + is.substr(0, 40) + '"', "bench or outside");
    }
    power.nothing_changed = node.at("nothing_changed").boolean();
    for (const Node& each : node.at("answers").elements(kMostTexts)) {
        power.answers.push_back(
            {each.at("id").text(), each.at("question").text(), each.at("answer").text()});
    }
    for (const Node& stage : node.at("stages").elements(kMostTexts)) {
        power.stages.push_back(stage_from_json(stage));
    }
    power.unguarded = texts(node.at("unguarded"));
    power.notes = texts(node.at("notes"));
    if (const auto trip = node.maybe("trip")) {
        power.trip = trip_from_json(*trip);
    }
    return power;
}

} // namespace yokedock::record
