// SPDX-License-Identifier: MIT
// A lock sweep as a text table.
#pragma once
#include "host/record/sweep_log.hpp"
#include <string>

namespace yokedock::report {

/// Where and when the log was made, whether the bench is a simulated one, what cut it off, notes.
[[nodiscard]] std::string sweep_heading(const record::SweepLog& log);

/// Set rate, free run and each limit with its resolution, what they mean, and what contradicts
/// itself. Plain ASCII, at most kColumns wide, ends with a newline. A limit that was not measured
/// says why. steps: those the summary was made from.
[[nodiscard]] std::string sweep_table(const lock::SweepSummary& summary,
                                      const std::vector<lock::StepResult>& steps);

} // namespace yokedock::report
