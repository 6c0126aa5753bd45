// SPDX-License-Identifier: MIT
#include "host/report/json.hpp"
#include "host/record/figures_json.hpp"
#include "host/record/json_text.hpp"
#include <cmath>

namespace yokedock::report {
namespace {

using Json = nlohmann::ordered_json;

Json number_or_null(double value) {
    return std::isfinite(value) ? Json(value) : Json(nullptr);
}

} // namespace

std::string json_output(const record::Record& record, const std::vector<std::string>& warnings,
                        const std::string& command, const std::string& record_file) {
    return record::json_text({{"schema", kOutputSchema},
                              {"command", command},
                              {"tool_version", record.tool_version},
                              {"record", record_file.empty() ? Json(nullptr) : Json(record_file)},
                              {"time_utc", record.time_utc},
                              {"standard", record.standard},
                              {"complete", record.complete},
                              {"imported", record.imported.has_value()},
                              {"simulated", record.raw && record.raw->bench.simulated},
                              {"notes", record.notes},
                              {"warnings", warnings},
                              {"figures", record::figures_to_json(record.figures)}});
}

std::string json_output(const std::vector<Difference>& differences,
                        const std::vector<std::string>& words, const std::string& command,
                        const std::string& record_file, const std::string& against_file) {
    Json rows = Json::array();
    for (const Difference& d : differences) {
        rows.push_back({{"name", d.name},
                        {"unit", d.unit},
                        {"against", number_or_null(d.before)},
                        {"value", number_or_null(d.after)},
                        {"change", number_or_null(d.change)},
                        {"u", number_or_null(d.u)},
                        {"differs", d.differs}});
    }
    return record::json_text({{"schema", kOutputSchema},
                              {"command", command},
                              {"record", record_file},
                              {"against", against_file},
                              {"words", words},
                              {"differences", rows}});
}

} // namespace yokedock::report
