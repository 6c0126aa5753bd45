// SPDX-License-Identifier: MIT
// What every command that drives a board has in common: which bench, which sync, the cautions, the
// supply's way up, and supply off at the end however it ends.
#pragma once
#include "host/bench/bench.hpp"
#include "host/cli/command.hpp"
#include "host/cli/power_up.hpp"
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
    PowerOptions power;
};

/// free_run_help: what a free-running board is wanted for.
void add_session_options(Parser& command, SessionOptions& options,
                         const std::string& free_run_help);

/// What the options come to, before any bench is spoken to.
struct SessionPlan {
    std::optional<record::Profile> profile;
    ChosenSync sync;
    PowerPlan power;
};

/// kUsage for an option, kFile for the profile, and as plan_power. Touches no bench.
[[nodiscard]] Result<SessionPlan> plan_session(const SessionOptions& options, const Seams& seams);

/// Cautions, and the questions that are still open: before a bench is touched.
[[nodiscard]] Status before_power(bool quiet_cautions, PowerPlan& power, Seams& seams);

/// Sets sync and switches it on, or keeps it off; says so, followed by `remark`.
[[nodiscard]] Status send_sync(bench::Bench& bench, const ChosenSync& sync, bool free_run,
                               const std::string& remark, Seams& seams);

/// Shows the cautions, asks what is open, opens the bench, sets sync and switches it on (or keeps
/// it off: free run), brings the supply up where that is the bench's, and runs the work. The supply
/// is off when this returns or throws. Errors: those of all this, or the work's own; a trip is told
/// and kept beside `file`.
[[nodiscard]] Result<ExitCode>
with_bench(const SessionOptions& options, SessionPlan plan, const std::string& remark,
           const TripFile& file, Seams& seams,
           const std::function<Result<ExitCode>(BoardSession&)>& work);

} // namespace yokedock::cli
