// SPDX-License-Identifier: MIT
// The commands' --json output.
#pragma once
#include "host/record/record.hpp"
#include "host/report/difference.hpp"
#include <string>

namespace yokedock::report {

constexpr int kOutputSchema = 1;

/// One JSON object: schema, command, what was measured where, figures. record_file "" when none was
/// saved.
[[nodiscard]] std::string json_output(const record::Record& record,
                                      const std::vector<std::string>& warnings,
                                      const std::string& command, const std::string& record_file);

/// The same for a comparison of two sets of figures.
[[nodiscard]] std::string json_output(const std::vector<Difference>& differences,
                                      const std::vector<std::string>& words,
                                      const std::string& command, const std::string& record_file,
                                      const std::string& against_file);

} // namespace yokedock::report
