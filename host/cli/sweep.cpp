// SPDX-License-Identifier: MIT
#include "host/bench/keep_alive.hpp"
#include "host/cli/cautions.hpp"
#include "host/cli/sweep_plan.hpp"
#include "host/cli/sweep_run.hpp"
#include "host/cli/sweep_show.hpp"
#include "host/report/sweep_bar.hpp"
#include "host/report/sweep_json.hpp"
#include "host/report/text.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

record::SweepBenchInfo bench_info(const bench::Bench& bench, bool simulated) {
    record::SweepBenchInfo info;
    info.identity = bench.identity();
    info.transport = bench.transport_kind();
    info.address = bench.address();
    info.simulated = simulated;
    return info;
}

/// The limits of a board on one bench are not those on another (front end, clock).
Status check_same_bench(const SweepPlan& plan, const bench::Bench& bench) {
    const wire::IdentifyAnswer& begun = plan.header.bench.identity;
    const wire::IdentifyAnswer& is = bench.identity();
    if (is.bench_serial != begun.bench_serial || is.clock_hz != begun.clock_hz) {
        return Error{ErrorKind::kUsage,
                     fmt::format("the bench at {} has serial {} and a clock of {} Hz, but {} was "
                                 "begun on serial {} with {} Hz; connect that bench, or begin a "
                                 "new log",
                                 bench.address(), is.bench_serial, is.clock_hz, plan.log_file,
                                 begun.bench_serial, begun.clock_hz)};
    }
    return Done{};
}

Result<OpenLog> open_log(SweepPlan& plan, const bench::Bench& bench, const SweepCommand& options,
                         Seams& seams) {
    if (!plan.resume) {
        plan.header.bench = bench_info(bench, options.simulated);
        record::SweepLog log;
        log.header = plan.header;
        Result<record::SweepLogWriter> writer =
            record::SweepLogWriter::create(plan.log_file, plan.header, if_exists(options.output));
        if (!writer) {
            return writer.error();
        }
        return OpenLog{std::move(log), std::move(writer).value()};
    }
    if (const Status same = check_same_bench(plan, bench); !same) {
        return same.error();
    }
    if (!plan.resume->warning.empty()) {
        seams.err << report::paragraph("warning: ", report::printable(plan.resume->warning));
        plan.resume->warning.clear(); // the writer cuts that line off
    }
    const record::SweepLogEvent resumed{record::SweepLogEvent::Kind::kResumed, seams.utc_now(),
                                        YOKEDOCK_VERSION, bench.address()};
    Result<record::SweepLogWriter> writer =
        record::SweepLogWriter::resume(plan.log_file, *plan.resume, resumed);
    if (!writer) {
        return writer.error();
    }
    plan.resume->events.push_back(resumed);
    return OpenLog{std::move(*plan.resume), std::move(writer).value()};
}

/// Prints a turn of --watch; false when its time is up.
bool show_turn(const record::SweepLog& log, std::size_t sweep, double elapsed_s,
               const SweepCommand& options, Seams& seams) {
    const lock::SweepSummary& summary = *log.runs[sweep].summary;
    seams.out << (options.output.json ? report::watch_json(summary, elapsed_s)
                                      : report::watch_line(summary, elapsed_s))
              << '\n'
              << std::flush;
    return options.duration_s <= 0 || elapsed_s < options.duration_s;
}

void print_log(const SweepPlan& plan, const record::SweepLog& log, Seams& seams) {
    seams.err << "log: " << plan.log_file << '\n';
    if (log.header.repeats) {
        return;
    }
    if (record::is_complete(log)) {
        seams.err << fmt::format("next: yokedock sweep --from {} --plot\n", plan.log_file);
    } else {
        seams.err << fmt::format(
            "to go on where it stopped: yokedock sweep --bench {} --resume {}{}\n", plan.address,
            plan.log_file, plan.power.by_bench ? " --profile ..." : " --supply outside");
    }
}

/// Where the bench switches the supply the board starts with the set rate: a sweep without one
/// begins with sync off.
Status power_up_synced(const SweepPlan& plan, bench::Bench& bench, const TripFile& trip,
                       BoardSession& session, Seams& seams) {
    if (plan.power.by_bench) {
        ChosenSync sync;
        sync.settings = plan.header.sweeps.front().sync;
        if (const Status sent = send_sync(bench, sync, false, "", seams); !sent) {
            return sent;
        }
    }
    return power_up(plan.power, plan.profile, false, trip, session, seams);
}

/// Everything with the board on. The board is off and sync removed when this returns.
Result<Status> sweep_bench(SweepPlan& plan, const SweepCommand& options, Seams& seams,
                           std::optional<OpenLog>& open) {
    if (const Status ready = before_power(options.quiet_cautions, plan.power, seams); !ready) {
        return ready.error();
    }
    Result<bench::Bench> bench = seams.open_bench(plan.address);
    if (!bench) {
        return bench.error();
    }
    const PowerGuard guard(bench.value(), plan.power.by_bench, seams);
    BoardSession session{bench.value(), capture::Guarding::kNone, {}, {}};
    const TripFile trip{plan.log_file, seams.utc_now(), plan.header.standard, options.simulated};
    if (const Status up = power_up_synced(plan, bench.value(), trip, session, seams); !up) {
        return up.error();
    }
    if (!plan.resume) {
        plan.header.power = session.power;
    }
    const bench::KeepAlive alive(bench.value()); // the log may be long
    Result<OpenLog> opened = open_log(plan, bench.value(), options, seams);
    if (!opened) {
        return opened.error();
    }
    open.emplace(std::move(opened).value());
    if (options.watch) {
        seams.err
            << "scale: --low-hz to --high-hz; [ ] hold range, S set rate, F free run, * both; "
               "Ctrl-C ends\n"
            << std::flush;
    }
    const double begin_s = seams.steady_s();
    const Status swept =
        run_sweeps(bench.value(), session.guarding, *open, seams, [&](std::size_t sweep) {
            return !options.watch ||
                   show_turn(open->log, sweep, seams.steady_s() - begin_s, options, seams);
        });
    if (!swept) {
        tell_trip(swept.error(), plan.profile, trip, session, seams);
    }
    return swept;
}

Result<ExitCode> show_stored(const SweepCommand& options, Seams& seams) {
    const Result<record::SweepLog> log = record::load_sweep_log(options.from_file);
    if (!log) {
        return log.error();
    }
    if (const Status outputs = check_sweep_outputs(options, ""); !outputs) {
        return outputs.error();
    }
    return show_sweeps(log.value(), options, options.from_file, seams);
}

Result<ExitCode> run_sweep_command(const SweepCommand& options, Seams& seams) {
    if (const Status modes = check_sweep_modes(options); !modes) {
        return modes.error();
    }
    if (!options.from_file.empty()) {
        return show_stored(options, seams);
    }
    Result<SweepPlan> planned = plan_sweep(options, seams);
    if (!planned) {
        return planned.error();
    }
    SweepPlan& plan = planned.value();
    if (plan.resume && record::is_complete(*plan.resume)) {
        seams.err << plan.log_file << " is complete: nothing was left to sweep\n";
        return show_sweeps(*plan.resume, options, plan.log_file, seams);
    }
    std::optional<OpenLog> open;
    const Result<Status> swept = sweep_bench(plan, options, seams, open);
    if (!swept) {
        return swept.error();
    }
    const Result<ExitCode> shown =
        options.watch ? ExitCode::kGood : show_sweeps(open->log, options, plan.log_file, seams);
    print_log(plan, open->log, seams);
    if (swept.value()) {
        return shown;
    }
    const Error& error = swept.value().error();
    if (error.kind == ErrorKind::kStopped && options.watch && options.duration_s <= 0) {
        return ExitCode::kGood; // Ctrl-C is how it ends
    }
    if (error.kind != ErrorKind::kStopped) {
        seams.err << "the sweep was cut off; the log holds what was done until then\n";
    }
    return error;
}

} // namespace

void set_up_sweep(Parser& app, Chosen& chosen) {
    const auto options = std::make_shared<SweepCommand>();
    Parser command = add_command<SweepCommand>(
        app, chosen, "sweep", "Find the rates over which the board keeps and finds lock",
        kGroupMeasure, options, run_sweep_command);
    command.add_option("--bench", options->bench,
                       "address: serial:DEVICE, tcp:HOST:PORT, unix:PATH");
    command.add_option("--profile", options->profile_file, "profile of the board type (JSON)");
    command.add_option("--note", options->notes, "a note for the log; may be given again")
        .one_value_at_a_time();
    command.add_flag("--watch", options->watch,
                     "repeat a short sweep and show the hold range, a line per turn, until "
                     "Ctrl-C: for turning a control");
    command.add_option("--duration-s", options->duration_s, "end --watch after this time");
    command.add_flag("--simulated", options->simulated,
                     "the bench is the virtual one: log and table say so");
    command.add_flag("--quiet-cautions", options->quiet_cautions,
                     "leave the cautions out; they are below");
    add_power_options(command, options->power);
    add_sync_options(command, options->sync);
    add_sweep_range_options(command, options->range);
    command
        .add_option("--log", options->log_file,
                    "log to write, a line per step (default: yokedock-sweep-TIME.jsonl here)")
        .group("Log");
    command
        .add_option("--resume", options->resume_file,
                    "go on with this log where it stopped, on the same bench")
        .group("Log");
    command.add_option("--from", options->from_file, "show this log again; no bench is needed")
        .group("Log");
    command.add_option("--csv", options->csv_file, "write a row per step into this CSV file")
        .group("Output");
    add_output_options(command, options->output, "phase against rate");
    command.footer(
        "Examples:\n"
        "  yokedock sweep --bench tcp:127.0.0.1:4100 --profile board.profile.json --axis "
        "vertical --log hold.jsonl\n"
        "  yokedock sweep --from hold.jsonl --plot --csv hold.csv\n\n" +
        caution_text());
}

} // namespace yokedock::cli
