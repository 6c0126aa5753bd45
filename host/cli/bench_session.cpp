// SPDX-License-Identifier: MIT
#include "host/cli/bench_session.hpp"
#include "host/cli/cautions.hpp"
#include "host/cli/evaluate.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
void add_session_options(Parser& command, SessionOptions& options,
                         const std::string& free_run_help) {
    command.add_option("--bench", options.bench, "address: serial:DEVICE, tcp:HOST:PORT, unix:PATH")
        .required();
    command.add_option("--profile", options.profile_file, "profile of the board type (JSON)");
    command.add_flag("--quiet-cautions", options.quiet_cautions,
                     "leave the cautions out; they are below");
    add_power_options(command, options.power);
    add_sync_options(command, options.sync);
    command.add_flag("--free-run", options.free_run, free_run_help).group("Sync");
}

Result<SessionPlan> plan_session(const SessionOptions& options, const Seams& seams) {
    SessionPlan plan;
    auto profile = load_given_profile(options.profile_file);
    if (!profile) {
        return profile.error();
    }
    plan.profile = std::move(profile).value();
    const Result<ChosenSync> sync =
        choose_sync(options.sync, plan.profile ? &*plan.profile : nullptr);
    if (!sync) {
        return sync.error();
    }
    plan.sync = sync.value();
    Result<PowerPlan> power = plan_power(options.power, plan.profile, seams.in_is_terminal);
    if (!power) {
        return power.error();
    }
    plan.power = std::move(power).value();
    return plan;
}

Status before_power(bool quiet_cautions, PowerPlan& power, Seams& seams) {
    if (!quiet_cautions) {
        seams.err << caution_text();
        if (!power.by_bench) {
            seams.err << outside_caution();
        }
        seams.err << '\n' << std::flush;
    }
    return ask_power_questions(power, seams);
}

Status send_sync(bench::Bench& bench, const ChosenSync& sync, bool free_run,
                 const std::string& remark, Seams& seams) {
    const Result<bench::SyncReport> report = bench.set_sync(sync.settings);
    if (!report) {
        return report.error();
    }
    if (const Status status = bench.sync_output(!free_run); !status) {
        return status;
    }
    seams.err << fmt::format("sync {}: line {:.4f} Hz, field {:.5f} Hz{}\n",
                             free_run ? "off (set, not sent)" : "on", report.value().line_rate.hz(),
                             report.value().field_rate.hz(), remark)
              << std::flush;
    return Done{};
}

Result<ExitCode> with_bench(const SessionOptions& options, SessionPlan plan,
                            const std::string& remark, const TripFile& file, Seams& seams,
                            const std::function<Result<ExitCode>(BoardSession&)>& work) {
    if (const Status ready = before_power(options.quiet_cautions, plan.power, seams); !ready) {
        return ready.error();
    }
    Result<bench::Bench> bench = seams.open_bench(options.bench);
    if (!bench) {
        return bench.error();
    }
    const PowerGuard guard(bench.value(), plan.power.by_bench, seams);
    if (const Status sent = send_sync(bench.value(), plan.sync, options.free_run, remark, seams);
        !sent) {
        return sent.error();
    }
    BoardSession session{bench.value(), capture::Guarding::kNone, {}, {}};
    if (const Status up =
            power_up(plan.power, plan.profile, options.free_run, file, session, seams);
        !up) {
        return up.error();
    }
    Result<ExitCode> done = work(session);
    if (!done) {
        tell_trip(done.error(), plan.profile, file, session, seams);
    }
    return done;
}

} // namespace yokedock::cli
