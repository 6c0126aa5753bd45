// SPDX-License-Identifier: MIT
// A diagnosis as text and as JSON.
#pragma once
#include "host/diagnose/diagnose.hpp"
#include "host/record/profile.hpp"
#include <string>
#include <vector>

namespace yokedock::report {

/// Whole sentences on the heat of the vertical output stage, from the rail and the current that
/// were measured and the coil of the profile; says so when it needs something that is not known.
[[nodiscard]] std::vector<std::string> heat_remarks(const analysis::FigureSet& figures,
                                                    const std::optional<record::Profile>& profile);

[[nodiscard]] std::string diagnosis_text(const diagnose::Diagnosis& diagnosis,
                                         const std::vector<std::string>& remarks);
[[nodiscard]] std::string diagnosis_json(const diagnose::Diagnosis& diagnosis,
                                         const std::vector<std::string>& remarks,
                                         const std::string& record_file);

} // namespace yokedock::report
