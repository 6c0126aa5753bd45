// SPDX-License-Identifier: MIT
#include "host/record/sweep_log.hpp"
#include "host/record/sweep_json.hpp"
#include "host/record/wire_json.hpp"

namespace yokedock::record {
namespace {

using Json = nlohmann::ordered_json;

std::string line_of(const Json& json) {
    return json.dump(-1, ' ', false, Json::error_handler_t::replace) + '\n';
}

const char* event_word(SweepLogEvent::Kind kind) {
    return kind == SweepLogEvent::Kind::kStopped ? "stopped" : "resumed";
}

} // namespace

const lock::SweepSettings& settings_of(const SweepLogHeader& header, std::size_t sweep) {
    return header.sweeps[sweep % header.sweeps.size()];
}

bool is_complete(const SweepLog& log) {
    return !log.header.repeats && log.runs.size() == log.header.sweeps.size() &&
           log.runs.back().summary.has_value();
}

std::string header_line(const SweepLogHeader& header) {
    Json sweeps = Json::array();
    for (const lock::SweepSettings& settings : header.sweeps) {
        sweeps.push_back(sweep_settings_to_json(settings));
    }
    const SweepBenchInfo& bench = header.bench;
    Json line{{"kind", "header"},
              {"format", kSweepLogFormat},
              {"schema", kSweepLogSchema},
              {"tool_version", header.tool_version},
              {"time_utc", header.time_utc},
              {"standard", header.standard},
              {"notes", header.notes},
              {"bench",
               {{"transport", bench.transport},
                {"address", bench.address},
                {"simulated", bench.simulated},
                {"clock_u_relative", bench.clock_u_relative},
                {"identity", message_to_json(bench.identity)}}},
              {"repeats", header.repeats},
              {"sweeps", sweeps}};
    if (header.power) {
        line["power"] = power_to_json(*header.power);
    }
    return line_of(line);
}

std::string step_line(std::size_t sweep, const lock::StepResult& result) {
    Json line{{"kind", "step"}, {"sweep", sweep}};
    line.update(step_result_to_json(result));
    return line_of(line);
}

std::string end_line(std::size_t sweep, const lock::SweepSummary& summary) {
    return line_of(
        {{"kind", "end"}, {"sweep", sweep}, {"summary", sweep_summary_to_json(summary)}});
}

std::string event_line(const SweepLogEvent& event) {
    return line_of({{"kind", event_word(event.kind)},
                    {"time_utc", event.time_utc},
                    {"tool_version", event.tool_version},
                    {"text", event.text}});
}

} // namespace yokedock::record
