// SPDX-License-Identifier: MIT
// Who switches the board's supply, by which limits, and what must be answered first.
#pragma once
#include "host/bench/power_limits.hpp"
#include "host/cli/parser.hpp"
#include "host/cli/seams.hpp"
#include "host/record/power_questions.hpp"
#include "host/record/power_record.hpp"

namespace yokedock::cli {

struct PowerOptions {
    std::string supply = "bench";
    std::string loads = "both";
    std::vector<std::string> confirm; ///< "pin_one", "parts_changed=C401", "pin_one=no"
    bool nothing_changed = false;
    bool allow_silent = false;
};

void add_power_options(Parser& command, PowerOptions& options);

/// What the options come to, before any bench is spoken to.
struct PowerPlan {
    bool by_bench = false;
    bool nothing_changed = false;
    bench::GuardPlan guard;
    std::optional<double> supply_idle_max_a;
    std::optional<double> supply_max_v;
    bench::SoftStartLoads loads;
    std::vector<record::PowerQuestion> questions;  ///< all that must be answered
    std::vector<record::PowerAnswerGiven> answers; ///< by options; the rest is asked
};

/// kUsage: no profile or one that lacks limits; options that contradict each other; a question that
/// nobody can be asked for (no terminal). kRefused: one that was answered with anything but yes.
[[nodiscard]] Result<PowerPlan> plan_power(const PowerOptions& options,
                                           const std::optional<record::Profile>& profile,
                                           bool can_ask);

/// Asks on the terminal what is not answered yet. kRefused: an answer was not yes, so the supply
/// stays off. kStopped: Ctrl-C or the end of the input.
[[nodiscard]] Status ask_power_questions(PowerPlan& plan, Seams& seams);

/// The profile's limits as the bench takes them. Pure.
[[nodiscard]] bench::PowerLimits power_limits(const record::Profile& profile);

/// A paragraph, begun with `first`, that names the limits without which the bench switches no
/// supply by this profile; "" none is missing. Pure.
[[nodiscard]] std::string not_switched_text(const record::Profile& profile,
                                            std::string_view first = "");

} // namespace yokedock::cli
