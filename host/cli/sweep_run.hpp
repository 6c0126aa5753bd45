// SPDX-License-Identifier: MIT
// Runs the sweeps of a log on a bench, writing each step down before the next one begins.
#pragma once
#include "host/bench/bench.hpp"
#include "host/capture/schedules.hpp"
#include "host/cli/seams.hpp"
#include "host/record/sweep_log_writer.hpp"
#include <functional>

namespace yokedock::cli {

/// A log on the disc and the same in memory; both grow together.
struct OpenLog {
    record::SweepLog log;
    record::SweepLogWriter writer;
};

/// Goes on where the log ends until every sweep has ended, or (with `repeats`) until after_sweep
/// says stop. after_sweep gets the number of the sweep that ended; false ends the run. An error
/// says what cut it off; it is in the log, too, unless the log itself is what failed. Sync is off
/// afterwards.
[[nodiscard]] Status run_sweeps(bench::Bench& bench, capture::Guarding guarding, OpenLog& open,
                                Seams& seams, const std::function<bool(std::size_t)>& after_sweep);

/// What the steps of a sweep amount to: its end line, or else the search once more. kFile when the
/// steps are not those that this version's search would make.
[[nodiscard]] Result<lock::SweepSummary> summary_of(const record::SweepLog& log, std::size_t sweep,
                                                    const std::string& file);

} // namespace yokedock::cli
