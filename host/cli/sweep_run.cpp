// SPDX-License-Identifier: MIT
#include "host/cli/sweep_run.hpp"
#include "host/cli/progress.hpp"
#include "host/lock/sweep_bench.hpp"
#include "host/lock/sweep_search.hpp"
#include "host/record/sweep_json.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

using lock::StepResult;
using lock::SweepSearch;
using lock::SweepStep;

bool same_step(const SweepStep& a, const SweepStep& b) {
    return a.number == b.number && a.part == b.part && a.approach == b.approach &&
           a.rate_hz == b.rate_hz && a.from_hz == b.from_hz && a.sync_part == b.sync_part;
}

/// Feeds the logged steps to the search, which then stands where it stood.
Status replay(SweepSearch& search, const std::vector<StepResult>& steps, const std::string& file) {
    for (const StepResult& result : steps) {
        const std::optional<SweepStep> next = search.next();
        if (!next || !same_step(*next, result.step)) {
            return Error{ErrorKind::kFile,
                         fmt::format("cannot go on with {}: step {} of it is {} at {:.6g} Hz, this "
                                     "yokedock would have made {}; it was written by another "
                                     "version or was changed: use that version, or begin a new log",
                                     file, result.step.number, lock::word(result.step.part),
                                     result.step.rate_hz,
                                     next ? fmt::format("{} at {:.6g} Hz", lock::word(next->part),
                                                        next->rate_hz)
                                          : std::string("none"))};
        }
        search.add(result);
    }
    return Done{};
}

std::string left_text(double seconds) {
    return seconds < 99.5 ? fmt::format("{:.0f} s left", seconds)
                          : fmt::format("{:.0f} min left", seconds / 60);
}

/// One sweep from where its steps end. The run of it exists in open.log. progress may be nullptr.
Status run_sweep(bench::Bench& bench, capture::Guarding guarding, OpenLog& open, std::size_t sweep,
                 Progress* progress) {
    const lock::SweepSettings& settings = record::settings_of(open.log.header, sweep);
    record::SweepRun& run = open.log.runs[sweep];
    SweepSearch search(settings);
    if (const Status replayed = replay(search, run.steps, open.writer.path()); !replayed) {
        return replayed;
    }
    const double time_before_s = run.steps.empty() ? 0 : run.steps.back().time_s;
    lock::SweepBench sweep_bench(bench, settings, guarding);
    for (const StepResult& before : run.steps) {
        sweep_bench.remember(before);
    }
    while (const std::optional<SweepStep> step = search.next()) {
        if (progress != nullptr) {
            std::string part = lock::word(step->part);
            std::replace(part.begin(), part.end(), '_', ' ');
            progress->show(fmt::format("{}, {}", record::axis_word(settings.axis), part),
                           search.part_done(), left_text(search.seconds_left()));
        }
        Result<StepResult> result = sweep_bench.run(*step);
        if (!result) {
            return result.error();
        }
        result.value().time_s += time_before_s;
        if (const Status added = open.writer.add(sweep, result.value()); !added) {
            return added;
        }
        search.add(result.value());
        run.steps.push_back(std::move(result).value());
    }
    run.summary = search.summary();
    return open.writer.end(sweep, *run.summary);
}

Status run_all(bench::Bench& bench, capture::Guarding guarding, OpenLog& open, Seams& seams,
               const std::function<bool(std::size_t)>& after_sweep) {
    record::SweepLog& log = open.log;
    while (!record::is_complete(log)) {
        if (log.runs.empty() || log.runs.back().summary) {
            log.runs.emplace_back();
        }
        const std::size_t sweep = log.runs.size() - 1;
        {
            Progress progress(seams, "sweeping");
            // Turns of --watch are lines of their own; on a pipe nothing must stand between them.
            const bool shown = !log.header.repeats || seams.err_is_terminal;
            if (const Status done =
                    run_sweep(bench, guarding, open, sweep, shown ? &progress : nullptr);
                !done) {
                return done;
            }
        }
        if (!after_sweep(sweep)) {
            break;
        }
    }
    return Done{};
}

} // namespace

Status run_sweeps(bench::Bench& bench, capture::Guarding guarding, OpenLog& open, Seams& seams,
                  const std::function<bool(std::size_t)>& after_sweep) {
    const Status done = run_all(bench, guarding, open, seams, after_sweep);
    (void)bench.sync_off(); // a lost link is told by `done`
    if (done) {
        return done;
    }
    const record::SweepLogEvent stopped{record::SweepLogEvent::Kind::kStopped, seams.utc_now(),
                                        YOKEDOCK_VERSION, done.error().text};
    if (open.writer.add(stopped)) { // when it fails: the log is the error, and that is told
        open.log.events.push_back(stopped);
    }
    if (!open.log.runs.empty() && open.log.runs.back().steps.empty()) {
        open.log.runs.pop_back(); // nothing of it is in the file
    }
    return done;
}

Result<lock::SweepSummary> summary_of(const record::SweepLog& log, std::size_t sweep,
                                      const std::string& file) {
    const record::SweepRun& run = log.runs[sweep];
    if (run.summary) {
        return *run.summary;
    }
    SweepSearch search(record::settings_of(log.header, sweep));
    if (const Status replayed = replay(search, run.steps, file); !replayed) {
        return replayed.error();
    }
    return search.summary();
}

} // namespace yokedock::cli
