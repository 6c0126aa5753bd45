// SPDX-License-Identifier: MIT
#include "host/report/sweep_json.hpp"
#include "host/record/json_text.hpp"
#include "host/record/sweep_json.hpp"
#include "host/report/json.hpp"
#include <algorithm>

namespace yokedock::report {

using Json = nlohmann::ordered_json;

std::string sweep_json(const record::SweepLog& log, const std::vector<SweepVerdict>& verdicts,
                       const std::vector<std::string>& warnings, const std::string& log_file) {
    const record::SweepLogHeader& header = log.header;
    Json sweeps = Json::array();
    for (std::size_t i = 0; i < std::min(log.runs.size(), verdicts.size()); ++i) {
        const auto& steps = log.runs[i].steps;
        Json sweep{{"settings", record::sweep_settings_to_json(record::settings_of(header, i))},
                   {"steps", steps.size()},
                   {"time_s", steps.empty() ? 0 : steps.back().time_s}};
        sweep.update(record::sweep_summary_to_json(verdicts[i].summary));
        sweep["against"] = verdicts[i].against;
        sweeps.push_back(sweep);
    }
    return record::json_text({{"schema", kOutputSchema},
                              {"command", "sweep"},
                              {"tool_version", header.tool_version},
                              {"log", log_file},
                              {"time_utc", header.time_utc},
                              {"standard", header.standard},
                              {"simulated", header.bench.simulated},
                              {"bench_serial", header.bench.identity.bench_serial},
                              {"complete", record::is_complete(log)},
                              {"notes", header.notes},
                              {"warnings", warnings},
                              {"sweeps", sweeps}});
}

std::string watch_json(const lock::SweepSummary& summary, double elapsed_s) {
    Json turn{{"schema", kOutputSchema},
              {"command", "sweep"},
              {"axis", record::axis_word(summary.settings.axis)},
              {"elapsed_s", elapsed_s}};
    turn.update(record::sweep_summary_to_json(summary));
    return turn.dump(-1, ' ', false, Json::error_handler_t::replace);
}

} // namespace yokedock::report
