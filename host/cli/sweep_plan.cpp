// SPDX-License-Identifier: MIT
#include "host/cli/sweep_plan.hpp"
#include "host/cli/bench_session.hpp"
#include "host/cli/evaluate.hpp"
#include "host/cli/sweep_show.hpp"
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

constexpr double kMostDurationS = 100 * 3600;

Result<SweepPlan> plan_new(const SweepCommand& options, Seams& seams) {
    SweepPlan plan;
    Result<SessionPlan> session =
        plan_session({options.bench, options.profile_file, options.quiet_cautions, false,
                      options.sync, options.power},
                     seams);
    if (!session) {
        return session.error();
    }
    const ChosenSync& sync = session.value().sync;
    Result<std::vector<lock::SweepSettings>> sweeps =
        plan_sweeps(options.range, sync.settings, options.watch);
    if (!sweeps) {
        return sweeps.error();
    }
    plan.header.tool_version = YOKEDOCK_VERSION;
    plan.header.time_utc = seams.utc_now();
    plan.header.standard = sync.standard;
    plan.header.notes = options.notes;
    plan.header.repeats = options.watch;
    plan.header.sweeps = std::move(sweeps).value();
    plan.profile = session.value().profile;
    plan.power = std::move(session.value().power);
    plan.address = options.bench;
    plan.log_file = options.log_file.empty()
                        ? dated_name("yokedock-sweep-", plan.header.time_utc, ".jsonl")
                        : options.log_file;
    if (const Status outputs = check_sweep_outputs(options, plan.log_file); !outputs) {
        return outputs.error();
    }
    return plan;
}

Result<SweepPlan> plan_resume(const SweepCommand& options, const Seams& seams) {
    Result<record::SweepLog> log = record::load_sweep_log(options.resume_file);
    if (!log) {
        return log.error();
    }
    const record::SweepLogHeader& header = log.value().header;
    if (header.repeats) {
        return Error{ErrorKind::kUsage,
                     fmt::format("{} is a log of --watch, expected one of a sweep that has an end; "
                                 "begin a new one",
                                 options.resume_file)};
    }
    if (const Status same = check_same_settings(options, header); !same) {
        return same.error();
    }
    if (const Status outputs = check_sweep_outputs(options, ""); !outputs) {
        return outputs.error();
    }
    SweepPlan plan;
    plan.header = header;
    plan.log_file = options.resume_file;
    plan.address = options.bench.empty() ? header.bench.address : options.bench;
    plan.resume = std::move(log).value();
    if (record::is_complete(*plan.resume)) {
        return plan; // nothing is powered
    }
    auto profile = load_given_profile(options.profile_file);
    if (!profile) {
        return profile.error();
    }
    plan.profile = std::move(profile).value();
    Result<PowerPlan> power = plan_power(options.power, plan.profile, seams.in_is_terminal);
    if (!power) {
        return power.error();
    }
    plan.power = std::move(power).value();
    return plan;
}

} // namespace

Status check_sweep_modes(const SweepCommand& options) {
    const auto clash = [](const char* one, const char* other) {
        return Error{
            ErrorKind::kUsage,
            fmt::format("{} and {} were given together, expected one of them", one, other)};
    };
    if (!options.from_file.empty() && !options.resume_file.empty()) {
        return clash("--from", "--resume");
    }
    if (!options.from_file.empty() && (!options.bench.empty() || options.watch)) {
        return clash("--from", options.watch ? "--watch" : "--bench");
    }
    if (!options.resume_file.empty() && (options.watch || !options.log_file.empty())) {
        return clash("--resume", options.watch ? "--watch" : "--log");
    }
    if (options.from_file.empty() && options.resume_file.empty() && options.bench.empty()) {
        return Error{ErrorKind::kUsage, "--bench is missing, expected the address of a bench; or "
                                        "--from LOG to show a log without one"};
    }
    if (!(options.duration_s >= 0 && options.duration_s <= kMostDurationS) ||
        (options.duration_s > 0 && !options.watch)) {
        return Error{ErrorKind::kUsage,
                     fmt::format("--duration-s is {}, expected 0 (until Ctrl-C) to {}, and --watch",
                                 options.duration_s, kMostDurationS)};
    }
    return Done{};
}

Result<SweepPlan> plan_sweep(const SweepCommand& options, Seams& seams) {
    return options.resume_file.empty() ? plan_new(options, seams) : plan_resume(options, seams);
}

} // namespace yokedock::cli
