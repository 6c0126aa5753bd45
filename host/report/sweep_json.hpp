// SPDX-License-Identifier: MIT
// The --json output of `sweep`.
#pragma once
#include "host/record/sweep_log.hpp"
#include <string>
#include <vector>

namespace yokedock::report {

/// What a sweep says about the board: the reasons against it, none when it is good.
struct SweepVerdict {
    lock::SweepSummary summary;
    std::vector<std::string> against;
};

/// One JSON object: schema, command, where and when, and per sweep its settings, its summary and
/// the verdict. The steps are in the log, which it names. verdicts: one for each run of the log.
[[nodiscard]] std::string sweep_json(const record::SweepLog& log,
                                     const std::vector<SweepVerdict>& verdicts,
                                     const std::vector<std::string>& warnings,
                                     const std::string& log_file);

/// A turn of --watch as one JSON object without newline.
[[nodiscard]] std::string watch_json(const lock::SweepSummary& summary, double elapsed_s);

} // namespace yokedock::report
