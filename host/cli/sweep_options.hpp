// SPDX-License-Identifier: MIT
// The options of `sweep`, and the sweeps they ask for.
#pragma once
#include "host/cli/output.hpp"
#include "host/cli/power_options.hpp"
#include "host/cli/sync_options.hpp"
#include "host/record/sweep_log.hpp"
#include <optional>

namespace yokedock::cli {

/// An option that was not given is empty: then the default of the axis holds, or the log's value.
struct SweepRange {
    std::string axis; ///< "vertical", "horizontal", "both", "" both
    std::optional<double> low_hz;
    std::optional<double> high_hz;
    std::optional<double> step_hz;
    std::optional<double> resolution_hz;
    std::optional<double> dwell_s;
    std::optional<double> acquire_s;
    bool no_returns = false;
    bool no_pull_in = false;
    bool narrow_sync = false;
    bool allow_low = false;
};

struct SweepCommand {
    std::string bench;
    SyncOptions sync;
    std::string profile_file;
    SweepRange range;
    PowerOptions power;
    bool watch = false;
    double duration_s = 0; ///< of watch; 0: until Ctrl-C
    bool simulated = false;
    bool quiet_cautions = false;
    std::vector<std::string> notes;
    std::string log_file;
    std::string resume_file;
    std::string from_file;
    std::string csv_file;
    OutputOptions output;
};

void add_sweep_range_options(Parser& command, SweepRange& range);

/// The sweeps asked for, checked against what the reference bench can make. kUsage names the
/// option.
[[nodiscard]] Result<std::vector<lock::SweepSettings>>
plan_sweeps(const SweepRange& range, const wire::SyncSettings& sync, bool watch);

/// Options that were given must be what the log was begun with; kUsage names the first that is not.
[[nodiscard]] Status check_same_settings(const SweepCommand& options,
                                         const record::SweepLogHeader& header);

} // namespace yokedock::cli
