// SPDX-License-Identifier: MIT
#include "host/bench/keep_alive.hpp"
#include "host/capture/measurement.hpp"
#include "host/cli/cautions.hpp"
#include "host/cli/command.hpp"
#include "host/cli/evaluate.hpp"
#include "host/cli/power_guard.hpp"
#include "host/cli/sync_options.hpp"
#include "host/report/live_line.hpp"
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

struct RunCommand {
    std::string bench;
    SyncOptions sync;
    bool free_run = false;
    double duration_s = 0;
    bool json = false;
    bool quiet_cautions = false;
    std::string profile_file;
};

constexpr double kMostDurationS = 100 * 3600;
/// Short captures for a reading about every second; figures that need more are for `measure`.
constexpr capture::PhaseSeconds kLiveSeconds{0.3, 0.05, 0.3, 0.06, 0.15};

void print(const report::LiveReading& reading, const RunCommand& options, Seams& seams) {
    if (options.json) {
        seams.out << report::live_json(reading) << '\n' << std::flush;
    } else if (seams.out_is_terminal) {
        seams.out << "\r\x1b[K" << report::live_line(reading) << std::flush;
    } else {
        seams.out << report::live_line(reading) << '\n' << std::flush;
    }
}

Status show_readings(const bench::Bench& bench, const RunCommand& options,
                     const std::optional<record::Profile>& profile, Seams& seams) {
    const double begin_s = seams.steady_s();
    capture::MeasureOptions measure;
    measure.seconds = kLiveSeconds;
    for (;;) {
        const capture::MeasureOutcome outcome = capture::run_measurement(bench, measure);
        if (outcome.error) {
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

Result<ExitCode> run_run(const RunCommand& options, Seams& seams) {
    if (!(options.duration_s >= 0 && options.duration_s <= kMostDurationS)) {
        return Error{ErrorKind::kUsage,
                     fmt::format("--duration-s is {}, expected 0 (until Ctrl-C) to {}",
                                 options.duration_s, kMostDurationS)};
    }
    std::optional<record::Profile> profile;
    if (!options.profile_file.empty()) {
        Result<record::Profile> loaded = record::load_profile(options.profile_file);
        if (!loaded) {
            return loaded.error();
        }
        profile = std::move(loaded).value();
    }
    const Result<ChosenSync> sync = choose_sync(options.sync, profile ? &*profile : nullptr);
    if (!sync) {
        return sync.error();
    }
    if (!options.quiet_cautions) {
        seams.err << caution_text() << '\n';
    }
    Result<bench::Bench> bench = seams.open_bench(options.bench);
    if (!bench) {
        return bench.error();
    }
    const PowerGuard guard(bench.value());
    const Result<bench::SyncReport> report = bench.value().set_sync(sync.value().settings);
    if (!report) {
        return report.error();
    }
    if (const Status on = bench.value().sync_output(!options.free_run); !on) {
        return on.error();
    }
    seams.err << fmt::format("sync {}: line {:.4f} Hz, field {:.5f} Hz; Ctrl-C ends\n",
                             options.free_run ? "off" : "on", report.value().line_rate.hz(),
                             report.value().field_rate.hz())
              << std::flush;
    const Status ended = show_readings(bench.value(), options, profile, seams);
    if (seams.out_is_terminal && !options.json) {
        seams.out << '\n';
    }
    return ended ? Result<ExitCode>(ExitCode::kGood) : Result<ExitCode>(ended.error());
}

} // namespace

void set_up_run(CLI::App& app, Chosen& chosen) {
    const auto options = std::make_shared<RunCommand>();
    CLI::App* command =
        add_command<RunCommand>(app, chosen, "run", "Send sync and show live readings until Ctrl-C",
                                kGroupMeasure, options, run_run);
    command
        ->add_option("--bench", options->bench, "address: serial:DEVICE, tcp:HOST:PORT, unix:PATH")
        ->required();
    command->add_option("--duration-s", options->duration_s,
                        "end after this time (default: at Ctrl-C)");
    command->add_option("--profile", options->profile_file, "profile of the board type (JSON)");
    command->add_flag("--quiet-cautions", options->quiet_cautions,
                      "leave the cautions out; they are below");
    add_sync_options(*command, options->sync);
    command
        ->add_flag("--free-run", options->free_run, "keep sync off: watch the free-running board")
        ->group("Sync");
    command->add_flag("--json", options->json, "one JSON object per reading and line")
        ->group("Output");
    command->footer("Example:\n  yokedock run --bench tcp:127.0.0.1:4100 --standard 525/59.94 "
                    "--duration-s 5\n\n" +
                    caution_text());
}

} // namespace yokedock::cli
