// SPDX-License-Identifier: MIT
// A sweep log as a table for other programs.
#pragma once
#include "host/record/sweep_log.hpp"
#include <string>

namespace yokedock::report {

/// A header line, then a row per step in the order of the log; units in the column names, commas
/// between, texts in quotes (RFC 4180, but lines end in LF). A value that was not measured is an
/// empty cell: board_hz without edges, phase of a board that is not locked, acquired_s not timed.
[[nodiscard]] std::string sweep_csv(const record::SweepLog& log);

} // namespace yokedock::report
