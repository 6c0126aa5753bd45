// SPDX-License-Identifier: MIT
#include "host/bench/keep_alive.hpp"
#include "host/capture/measurement.hpp"
#include "host/cli/bench_session.hpp"
#include "host/cli/cautions.hpp"
#include "host/cli/evaluate.hpp"
#include "host/report/live_line.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct RunCommand {
    SessionOptions session;
    double duration_s = 0; ///< 0: until Ctrl-C
    bool simulated = false;
    bool json = false;
};

constexpr double kMostDurationS = 100 * 3600;
/// Short captures for a reading about every second; figures that need more are for `measure`.
constexpr capture::PhaseSeconds kLiveSeconds{0.3, 0.05, 0.3, 0.06, 0.15};
constexpr capture::PhaseSeconds kGuardedLiveSeconds{0.2, 0.05, 0.3, 0.12, 0.12};

void print(const report::LiveReading& reading, const RunCommand& options, Seams& seams) {
    if (options.json) {
        seams.out << report::live_json(reading) << '\n' << std::flush;
    } else if (seams.out_is_terminal) {
        seams.out << "\r\x1b[K" << report::live_line(reading) << std::flush;
    } else {
        seams.out << report::live_line(reading) << '\n' << std::flush;
    }
}

Status show_readings(BoardSession& session, const RunCommand& options,
                     const std::optional<record::Profile>& profile, Seams& seams) {
    const bench::Bench& bench = session.bench;
    const double begin_s = seams.steady_s();
    capture::MeasureOptions measure;
    measure.guarding = session.guarding;
    measure.seconds =
        session.guarding == capture::Guarding::kWatched ? kGuardedLiveSeconds : kLiveSeconds;
    for (;;) {
        const capture::MeasureOutcome outcome = capture::run_measurement(bench, measure);
        if (outcome.error) {
            if (!outcome.measurement.captures.empty()) {
                session.cut = outcome.measurement.captures.back();
            }
            return *outcome.error;
        }
        const bench::KeepAlive alive(bench);
        const double elapsed_s = seams.steady_s() - begin_s;
        const Evaluation evaluation =
            evaluate(capture::to_observation(outcome.measurement), profile);
        print({elapsed_s, evaluation.figures}, options, seams);
        if (options.duration_s > 0 && elapsed_s >= options.duration_s) {
            return Done{};
        }
    }
}

Result<ExitCode> watch_board(BoardSession& session, const RunCommand& options,
                             const std::optional<record::Profile>& profile, Seams& seams) {
    const Status ended = show_readings(session, options, profile, seams);
    if (seams.out_is_terminal && !options.json) {
        seams.out << '\n';
    }
    // Without a duration, stopping it is the way it ends and no cut in the work.
    const bool as_meant =
        ended || (ended.error().kind == ErrorKind::kStopped && options.duration_s == 0);
    return as_meant ? Result<ExitCode>(ExitCode::kGood) : Result<ExitCode>(ended.error());
}

Result<ExitCode> run_run(const RunCommand& options, Seams& seams) {
    if (!(options.duration_s >= 0 && options.duration_s <= kMostDurationS)) {
        return Error{ErrorKind::kUsage,
                     fmt::format("--duration-s is {}, expected 0 (until Ctrl-C) to {}",
                                 options.duration_s, kMostDurationS)};
    }
    const Result<SessionPlan> plan = plan_session(options.session, seams);
    if (!plan) {
        return plan.error();
    }
    const TripFile trip{"", seams.utc_now(), plan.value().sync.standard, options.simulated};
    return with_bench(options.session, plan.value(), "; Ctrl-C ends", trip, seams,
                      [&](BoardSession& session) {
                          return watch_board(session, options, plan.value().profile, seams);
                      });
}

} // namespace

void set_up_run(Parser& app, Chosen& chosen) {
    const auto options = std::make_shared<RunCommand>();
    Parser command =
        add_command<RunCommand>(app, chosen, "run", "Send sync and show live readings until Ctrl-C",
                                kGroupMeasure, options, run_run);
    add_session_options(command, options->session, "keep sync off: watch the free-running board");
    command.add_option("--duration-s", options->duration_s,
                       "end after this time (default: at Ctrl-C)");
    command.add_flag("--simulated", options->simulated,
                     "the bench is the virtual one: the record of a trip says so");
    command.add_flag("--json", options->json, "one JSON object per reading and line")
        .group("Output");
    command.footer(
        "A reading of - was not measured in so short a time; yokedock measure takes longer.\n\n"
        "Examples:\n"
        "  yokedock run --bench tcp:127.0.0.1:4100 --profile board.profile.json\n"
        "  yokedock run --bench tcp:127.0.0.1:4100 --supply outside --standard 525/59.94 "
        "--duration-s 5\n"
        "The second watches nothing: the board is powered by something else.\n\n" +
        caution_text());
}

} // namespace yokedock::cli
