// SPDX-License-Identifier: MIT
#include "host/bench/keep_alive.hpp"
#include "host/capture/measurement.hpp"
#include "host/cli/bench_session.hpp"
#include "host/cli/cautions.hpp"
#include "host/cli/compare_run.hpp"
#include "host/cli/output.hpp"
#include "host/cli/progress.hpp"
#include "host/cli/trip_record.hpp"
#include "host/record/record.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct MeasureCommand {
    SessionOptions session;
    double settle_s = 1;
    bool simulated = false;
    std::string out_file;
    std::vector<std::string> notes;
    OutputOptions output;
    CompareSettings compare; ///< no reference: the figures are shown
};

constexpr double kMostSettleS = 60;

/// Everything that can be checked without a bench; what it finds out on the way.
struct Prepared {
    SessionPlan session;
    std::string time_utc;
    std::string record_file;
};

Result<Prepared> prepare(const MeasureCommand& options, Seams& seams) {
    if (!(options.settle_s >= 0 && options.settle_s <= kMostSettleS)) {
        return Error{ErrorKind::kUsage, fmt::format("--settle-s is {}, expected 0 to {}",
                                                    options.settle_s, kMostSettleS)};
    }
    if (const Status settings = check_settings(options.compare); !settings) {
        return settings.error();
    }
    for (const std::string& file : options.compare.reference_files) {
        // Read once more afterwards; a wrong name must not cost a measurement.
        const auto reference = record::load_record(file);
        if (!reference) {
            return reference.error();
        }
        if (const Status measured = refuse_trip_record(reference.value(), file); !measured) {
            return measured.error();
        }
    }
    Result<SessionPlan> session = plan_session(options.session, seams);
    if (!session) {
        return session.error();
    }
    Prepared prepared;
    prepared.session = std::move(session).value();
    prepared.time_utc = seams.utc_now();
    prepared.record_file = record_path(options.out_file, prepared.time_utc);
    if (const Status outputs = check_outputs(options.output, prepared.record_file); !outputs) {
        return outputs.error();
    }
    return prepared;
}

record::Record make_record(const MeasureCommand& options, const Prepared& prepared,
                           const record::PowerRecord& power, capture::RawMeasurement raw) {
    record::Record record;
    record.tool_version = YOKEDOCK_VERSION;
    record.time_utc = prepared.time_utc;
    record.standard = prepared.session.sync.standard;
    record.complete = raw.complete;
    record.notes = options.notes;
    record.notes.insert(record.notes.end(), raw.notes.begin(), raw.notes.end());
    record.profile = prepared.session.profile;
    record.power = power;
    record.raw = std::move(raw);
    return record;
}

void print_next(const std::string& record_file, const OutputOptions& output, Seams& seams) {
    seams.err << "record: " << record_file << '\n';
    if (!output.json) {
        seams.err << fmt::format("next: yokedock analyse {0} --plot\n"
                                 "      yokedock compare {0} GOOD.json\n",
                                 record_file);
    }
}

/// Analyses and saves what there is. An error of the capture comes last, so that nothing measured
/// is lost to it.
Result<ExitCode> finish(const MeasureCommand& options, const Prepared& prepared,
                        const record::PowerRecord& power, capture::MeasureOutcome outcome,
                        Seams& seams) {
    if (outcome.measurement.captures.empty() && outcome.error) {
        return *outcome.error;
    }
    record::Record record = make_record(options, prepared, power, std::move(outcome.measurement));
    const Evaluation evaluation = evaluate(record::observation_of(record), record.profile);
    record.figures = evaluation.figures;
    if (const Status saved =
            record::save_record(record, prepared.record_file, if_exists(options.output));
        !saved) {
        return saved.error();
    }
    Result<ExitCode> shown = ExitCode::kGood;
    if (options.compare.reference_files.empty()) {
        if (const Status status =
                show(record, evaluation, options.output, prepared.record_file, "measure", seams);
            !status) {
            shown = status.error();
        }
    } else {
        shown =
            compare_record(record, prepared.record_file, options.compare, options.output, seams);
    }
    print_next(prepared.record_file, options.output, seams);
    if (outcome.error) {
        seams.err << "the measurement was cut off; the record holds what was done until then\n";
        return *outcome.error;
    }
    return shown;
}

Result<ExitCode> measure_board(const BoardSession& session, const MeasureCommand& options,
                               const Prepared& prepared, Seams& seams) {
    const bench::Bench& bench = session.bench;
    const double ticks = options.settle_s * bench.identity().clock_hz;
    if (const Status settled = bench.wait_ticks(static_cast<std::uint32_t>(ticks)); !settled) {
        return settled.error();
    }
    capture::MeasureOptions measure;
    measure.simulated = options.simulated;
    measure.guarding = session.guarding;
    if (measure.guarding == capture::Guarding::kWatched) {
        measure.seconds = capture::kGuardedSeconds;
    }
    capture::MeasureOutcome outcome;
    {
        Progress progress(seams);
        outcome = capture::run_measurement(bench, measure,
                                           [&progress](const capture::MeasureProgress& now) {
                                               progress.show(now.phase, now.done);
                                           });
    }
    record::PowerRecord power = session.power;
    if (outcome.error && power.by_bench) {
        if (const auto trip = bench::ask_trip(bench, "live"); trip && trip->tripped) {
            power.trip = record::trip_record(*trip);
        }
    }
    const bench::KeepAlive alive(bench);
    return finish(options, prepared, power, std::move(outcome), seams);
}

Result<ExitCode> run_measure(const MeasureCommand& options, Seams& seams) {
    const Result<Prepared> prepared = prepare(options, seams);
    if (!prepared) {
        return prepared.error();
    }
    const Prepared& ready = prepared.value();
    const TripFile trip{ready.record_file, ready.time_utc, ready.session.sync.standard,
                        options.simulated};
    return with_bench(
        options.session, ready.session, "", trip, seams,
        [&](const BoardSession& session) { return measure_board(session, options, ready, seams); });
}

} // namespace

void set_up_measure(Parser& app, Chosen& chosen) {
    const auto options = std::make_shared<MeasureCommand>();
    Parser command = add_command<MeasureCommand>(app, chosen, "measure",
                                                 "Send sync and measure the board's ramps",
                                                 kGroupMeasure, options, run_measure);
    add_session_options(command, options->session, "keep sync off: measure the free-running board");
    command.add_option("--note", options->notes, "a note for the record; may be given again")
        .one_value_at_a_time();
    command
        .add_option("--settle-s", options->settle_s, "time for the board to lock before measuring")
        .show_default();
    command.add_flag("--simulated", options->simulated,
                     "the bench is the virtual one: the record and the table say so");
    command
        .add_option("--out", options->out_file,
                    "record to write (default: yokedock-TIME.json here)")
        .group("Output");
    command
        .add_option("--compare", options->compare.reference_files,
                    "say whether the board matches this record (as yokedock compare does); may be "
                    "given again")
        .one_value_at_a_time()
        .group("Compare");
    add_compare_options(command, options->compare);
    add_output_options(command, options->output);
    command.footer("Examples:\n"
                   "  yokedock measure --bench tcp:127.0.0.1:4100 --profile board.profile.json "
                   "--out board.json\n"
                   "  yokedock measure --bench tcp:127.0.0.1:4100 --supply outside --standard "
                   "525/59.94 --out board.json\n"
                   "The second watches nothing: the board is powered by something else.\n\n" +
                   caution_text());
}

} // namespace yokedock::cli
