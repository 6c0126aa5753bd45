// SPDX-License-Identifier: MIT
#include "host/cli/bench_session.hpp"
#include "host/cli/cautions.hpp"
#include "host/cli/power_guard.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

Status send_sync(bench::Bench& bench, const SessionOptions& options, const ChosenSync& sync,
                 const std::string& remark, Seams& seams) {
    const Result<bench::SyncReport> report = bench.set_sync(sync.settings);
    if (!report) {
        return report.error();
    }
    if (const Status status = bench.sync_output(!options.free_run); !status) {
        return status;
    }
    seams.err << fmt::format("sync {}: line {:.4f} Hz, field {:.5f} Hz{}\n",
                             options.free_run ? "off (set, not sent)" : "on",
                             report.value().line_rate.hz(), report.value().field_rate.hz(), remark)
              << std::flush;
    return Done{};
}

} // namespace

void add_session_options(Parser& command, SessionOptions& options,
                         const std::string& free_run_help) {
    command.add_option("--bench", options.bench, "address: serial:DEVICE, tcp:HOST:PORT, unix:PATH")
        .required();
    command.add_option("--profile", options.profile_file, "profile of the board type (JSON)");
    command.add_flag("--quiet-cautions", options.quiet_cautions,
                     "leave the cautions out; they are below");
    add_sync_options(command, options.sync);
    command.add_flag("--free-run", options.free_run, free_run_help).group("Sync");
}

Result<SessionPlan> plan_session(const SessionOptions& options) {
    SessionPlan plan;
    if (!options.profile_file.empty()) {
        Result<record::Profile> profile = record::load_profile(options.profile_file);
        if (!profile) {
            return profile.error();
        }
        plan.profile = std::move(profile).value();
    }
    const Result<ChosenSync> sync =
        choose_sync(options.sync, plan.profile ? &*plan.profile : nullptr);
    if (!sync) {
        return sync.error();
    }
    plan.sync = sync.value();
    return plan;
}

Result<ExitCode> with_bench(const SessionOptions& options, const SessionPlan& plan,
                            const std::string& remark, Seams& seams,
                            const std::function<Result<ExitCode>(const bench::Bench&)>& work) {
    if (!options.quiet_cautions) {
        seams.err << caution_text() << '\n';
    }
    Result<bench::Bench> bench = seams.open_bench(options.bench);
    if (!bench) {
        return bench.error();
    }
    const PowerGuard guard(bench.value());
    if (const Status sent = send_sync(bench.value(), options, plan.sync, remark, seams); !sent) {
        return sent.error();
    }
    return work(bench.value());
}

} // namespace yokedock::cli
