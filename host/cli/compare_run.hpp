// SPDX-License-Identifier: MIT
// Records to a comparison: for `compare`, and for `measure --compare`.
#pragma once
#include "host/cli/output.hpp"
#include "host/diagnose/compare.hpp"
#include "host/record/record.hpp"
#include <string>
#include <vector>

namespace yokedock::cli {

struct CompareSettings {
    std::vector<std::string> reference_files;
    std::string reference_is; ///< "same-board", "other-boards", "" by their number
    std::string axis = "both";
    bool same_instruments = false;
    std::vector<std::string> tolerances;    ///< "FIGURE=VALUE"
    std::optional<record::Profile> profile; ///< in place of the records' own
};

/// How the references are to be taken, as options.
void add_compare_options(Parser& command, CompareSettings& settings);
/// What can be checked before any file is read.
[[nodiscard]] Status check_settings(const CompareSettings& settings);

/// Loads the references, analyses all over one window, prints, draws. Good: the same; kVerdict:
/// different; kCannotTell.
[[nodiscard]] Result<ExitCode> compare_record(const record::Record& record,
                                              const std::string& record_name,
                                              const CompareSettings& settings,
                                              const OutputOptions& output, Seams& seams);

} // namespace yokedock::cli
