// SPDX-License-Identifier: MIT
// What a sweep is going to do: settled before a bench is spoken to.
#pragma once
#include "host/cli/bench_session.hpp"
#include "host/cli/sweep_options.hpp"

namespace yokedock::cli {

struct SweepPlan {
    record::SweepLogHeader header;          ///< of the log to begin, or of the one to go on with
    std::optional<record::SweepLog> resume; ///< the log to go on with
    std::optional<record::Profile> profile;
    PowerPlan power;
    std::string log_file;
    std::string address;
};

/// Options that do not go together, or none of those that say what to do.
[[nodiscard]] Status check_sweep_modes(const SweepCommand& options);

/// For a new log or, with --resume, an old one. Reads files, writes none.
[[nodiscard]] Result<SweepPlan> plan_sweep(const SweepCommand& options, Seams& seams);

} // namespace yokedock::cli
