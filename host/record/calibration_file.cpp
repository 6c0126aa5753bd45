// SPDX-License-Identifier: MIT
#include "host/record/calibration_file.hpp"
#include "host/record/json_reader.hpp"
#include "host/record/json_text.hpp"
#include <chrono>
#include <cstdio>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;
using capture::CalibrationPoint;
using capture::Stated;

constexpr const char* kWhat = "calibration";

Json point_to_json(const CalibrationPoint& point) {
    return {{"channel", kChannels[static_cast<std::size_t>(point.channel)].name},
            {"true_value", point.truth.value},
            {"true_u", point.truth.u},
            {"input_v", point.volts.value},
            {"input_u_v", point.volts.u},
            {"time_utc", point.time_utc}};
}

std::string channel_names() {
    std::string names;
    for (const Channel& channel : kChannels) {
        names += (names.empty() ? "" : ", ") + std::string(channel.name);
    }
    return names;
}

CalibrationPoint point_from_json(const Node& node) {
    node.allow_only({"channel", "true_value", "true_u", "input_v", "input_u_v", "time_utc"});
    CalibrationPoint point;
    const Node name = node.at("channel");
    const std::string is = name.text();
    std::size_t at = 0;
    while (at < kChannelCount && is != kChannels[at].name) {
        ++at;
    }
    if (at == kChannelCount && !node.failed()) {
        name.complain('"' + is.substr(0, 40) + '"', "one of " + channel_names());
        return point;
    }
    point.channel = static_cast<ChannelId>(at);
    point.truth = {node.at("true_value").number(-1e4, 1e4), node.at("true_u").number(1e-9, 1e4)};
    point.volts = {node.at("input_v").number(-10, 10), node.at("input_u_v").number(1e-9, 10)};
    point.time_utc = node.at("time_utc").text();
    return point;
}

Json stated(const std::optional<Stated>& value) {
    return value ? Json{{"value", value->value}, {"u", value->u}} : Json();
}

std::optional<Stated> stated_at(const Node& root, const char* key, double low, double high) {
    const auto node = root.maybe(key);
    if (!node) {
        return std::nullopt;
    }
    node->allow_only({"value", "u"});
    return Stated{node->at("value").number(low, high), node->at("u").number(0, high)};
}

} // namespace

Result<capture::Calibration> results_of(const CalibrationFile& file, std::uint32_t date_s) {
    capture::Calibration calibration;
    calibration.serial = file.bench_serial;
    calibration.date_s = date_s;
    calibration.clock_relative = file.clock_relative;
    calibration.adc_reference_v = file.adc_reference_v;
    calibration.trigger_delay_s = file.trigger_delay_s;
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        const auto channel = static_cast<ChannelId>(i);
        bool any = false;
        for (const CalibrationPoint& point : file.points) {
            any = any || point.channel == channel;
        }
        if (!any) {
            continue;
        }
        const auto fitted = capture::fit_channel(channel, file.points, file.adc_reference_v);
        if (!fitted) {
            return fitted.error();
        }
        calibration.channels[i] = fitted.value();
    }
    return calibration;
}

std::string calibration_text(const CalibrationFile& file) {
    Json points = Json::array();
    for (const CalibrationPoint& point : file.points) {
        points.push_back(point_to_json(point));
    }
    return json_text({{"schema", kCalibrationSchema},
                      {"kind", kWhat},
                      {"bench_serial", file.bench_serial},
                      {"time_utc", file.time_utc},
                      {"stored_utc", file.stored_utc},
                      {"simulated", file.simulated},
                      {"clock_relative", stated(file.clock_relative)},
                      {"adc_reference_v", stated(file.adc_reference_v)},
                      {"trigger_delay_s", stated(file.trigger_delay_s)},
                      {"points", points}});
}

Result<CalibrationFile> calibration_from_text(const std::string& text, const std::string& file) {
    const auto json = parse_json(text, file, kWhat);
    if (!json) {
        return json.error();
    }
    ReadContext context{file, kWhat, {}};
    const Node root(json.value(), context);
    check_schema(root, kCalibrationSchema, context);
    root.allow_only({"schema", "kind", "bench_serial", "time_utc", "stored_utc", "simulated",
                     "clock_relative", "adc_reference_v", "trigger_delay_s", "points"});
    CalibrationFile out;
    if (const std::string kind = root.at("kind").text(); kind != kWhat && !root.failed()) {
        root.at("kind").complain('"' + kind.substr(0, 40) + '"', "\"calibration\"");
    }
    out.bench_serial = root.at("bench_serial").integer<std::uint32_t>(0, 4294967295u);
    out.time_utc = root.at("time_utc").text();
    out.stored_utc = root.at("stored_utc").text();
    out.simulated = root.at("simulated").boolean();
    out.clock_relative = stated_at(root, "clock_relative", -0.1, 0.1);
    out.adc_reference_v = stated_at(root, "adc_reference_v", 2.5, 10);
    out.trigger_delay_s = stated_at(root, "trigger_delay_s", -1e-3, 1e-3);
    for (const Node& point : root.at("points").elements(kMostCalibrationPoints)) {
        out.points.push_back(point_from_json(point));
    }
    if (context.error) {
        return *context.error;
    }
    return out;
}

Result<CalibrationFile> load_calibration(const std::string& path) {
    const Result<std::string> text = read_file(path, kMaxCalibrationBytes, kWhat);
    return text ? calibration_from_text(text.value(), path) : Result<CalibrationFile>(text.error());
}

Status save_calibration(const CalibrationFile& file, const std::string& path) {
    return write_file(path, calibration_text(file), IfExists::kReplace);
}

std::optional<std::uint32_t> seconds_of_utc(const std::string& utc) {
    int year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0;
    char end = 0;
    if (std::sscanf(utc.c_str(), "%4d-%2d-%2dT%2d:%2d:%2d%c", &year, &month, &day, &hour, &minute,
                    &second, &end) != 7 ||
        end != 'Z') {
        return std::nullopt;
    }
    using namespace std::chrono;
    const year_month_day date{std::chrono::year{year},
                              std::chrono::month{static_cast<unsigned>(month)},
                              std::chrono::day{static_cast<unsigned>(day)}};
    if (!date.ok() || hour > 23 || minute > 59 || second > 60) {
        return std::nullopt;
    }
    const auto since =
        sys_days{date}.time_since_epoch() + hours{hour} + minutes{minute} + seconds{second};
    const auto whole = duration_cast<seconds>(since).count();
    return whole < 0 || whole > 0xFFFFFFFFll
               ? std::nullopt
               : std::optional<std::uint32_t>(static_cast<std::uint32_t>(whole));
}

std::string date_of_seconds(std::uint32_t seconds) {
    using namespace std::chrono;
    const year_month_day date{floor<days>(sys_seconds{std::chrono::seconds{seconds}})};
    return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                       static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
}

} // namespace yokedock::record
