// SPDX-License-Identifier: MIT
// What every command that drives a board has in common: which bench, which sync, the cautions, and
// supply off at the end however it ends.
#pragma once
#include "host/bench/bench.hpp"
#include "host/cli/command.hpp"
#include "host/cli/sync_options.hpp"
#include "host/record/profile.hpp"
#include <functional>
#include <optional>
#include <string>

namespace yokedock::cli {

struct SessionOptions {
    std::string bench;
    std::string profile_file;
    bool quiet_cautions = false;
    bool free_run = false;
    SyncOptions sync;
};

/// free_run_help: what a free-running board is wanted for.
void add_session_options(Parser& command, SessionOptions& options,
                         const std::string& free_run_help);

/// What the options come to, before any bench is spoken to.
struct SessionPlan {
    std::optional<record::Profile> profile;
    ChosenSync sync;
};

/// kUsage for an option, kFile for the profile. Touches no bench.
[[nodiscard]] Result<SessionPlan> plan_session(const SessionOptions& options);

/// Shows the cautions, opens the bench, sets sync and switches it on (or keeps it off: free run),
/// says so on the error stream followed by `remark`, and runs the work. The supply is off when this
/// returns or throws. Errors: those of opening and of the requests, or the work's own.
[[nodiscard]] Result<ExitCode>
with_bench(const SessionOptions& options, const SessionPlan& plan, const std::string& remark,
           Seams& seams, const std::function<Result<ExitCode>(const bench::Bench&)>& work);

} // namespace yokedock::cli
