// SPDX-License-Identifier: MIT
// Shows a sweep log: table and bar, or JSON; CSV and pictures.
#pragma once
#include "host/cli/sweep_options.hpp"

namespace yokedock::cli {

/// kVerdict when the log speaks against the board. Results to seams.out, the rest to seams.err.
[[nodiscard]] Result<ExitCode> show_sweeps(const record::SweepLog& log, const SweepCommand& options,
                                           const std::string& log_file, Seams& seams);

/// Every file the options name can be written.
[[nodiscard]] Status check_sweep_outputs(const SweepCommand& options, const std::string& new_log);

} // namespace yokedock::cli
