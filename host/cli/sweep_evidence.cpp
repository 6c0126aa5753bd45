// SPDX-License-Identifier: MIT
#include "host/cli/sweep_evidence.hpp"
#include "host/cli/sweep_run.hpp"
#include "host/lock/sweep_figures.hpp"
#include "host/lock/verdict.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <map>
#include <ostream>

namespace yokedock::cli {
namespace {

/// Tells 59.94 from 60 Hz and 262 from 263 lines; achieved rates are parts per million off.
constexpr double kMostRateOff = 5e-4;

constexpr lock::SweepAxis kAxes[] = {lock::SweepAxis::kVertical, lock::SweepAxis::kHorizontal};

const char* word(lock::SweepAxis axis) {
    return axis == lock::SweepAxis::kVertical ? "vertical" : "horizontal";
}

Status check_rate(const SweptBoard& swept, const SweptSync& sync, const char* what, double is,
                  double expected) {
    if (!(expected > 0) || std::abs(is / expected - 1) <= kMostRateOff) {
        return Done{};
    }
    return Error{ErrorKind::kFile,
                 fmt::format("{} was swept about a {} rate of {:.3f} Hz, expected {:.3f} Hz as in "
                             "{}; give a sweep of this board with its own sync",
                             swept.file, what, is, expected, sync.file)};
}

} // namespace

Result<SweptBoard> load_swept_board(const std::string& file, Seams& seams) {
    const Result<record::SweepLog> loaded = record::load_sweep_log(file);
    if (!loaded) {
        return loaded.error();
    }
    const record::SweepLog& log = loaded.value();
    if (!log.warning.empty()) {
        seams.err << report::paragraph("warning: ", report::printable(log.warning));
    }
    if (log.runs.empty()) {
        return Error{ErrorKind::kFile, file + " has no step, expected a sweep; go on with it "
                                              "(yokedock sweep --resume) or leave it out"};
    }
    SweptBoard swept{file,
                     log.header.standard,
                     log.header.bench.simulated,
                     log.header.bench.clock_u_relative,
                     {}};
    for (const lock::SweepAxis axis : kAxes) {
        std::optional<std::size_t> last;
        for (std::size_t i = 0; i < log.runs.size(); ++i) {
            // With --watch the last turn is cut off; the one before it is whole.
            const bool of_axis = record::settings_of(log.header, i).axis == axis;
            last = of_axis && (log.runs[i].summary || !last) ? i : last;
        }
        if (!last) {
            continue;
        }
        Result<lock::SweepSummary> summary = summary_of(log, *last, file);
        if (!summary) {
            return summary.error();
        }
        swept.sweeps.push_back(std::move(summary).value());
    }
    return swept;
}

Status check_swept_sync(const SweptBoard& swept, const SweptSync& sync) {
    const auto own = [](const std::string& name) { return name.empty() || name == "free"; };
    if (!own(swept.standard) && !own(sync.standard) && swept.standard != sync.standard) {
        return Error{ErrorKind::kFile,
                     fmt::format("{} was swept about the standard {}, expected {} as in {}; give a "
                                 "sweep of this board with its own sync",
                                 swept.file, swept.standard, sync.standard, sync.file)};
    }
    for (const lock::SweepSummary& s : swept.sweeps) {
        const wire::SyncSettings& set = s.settings.sync;
        const double line_hz =
            static_cast<double>(set.line_rate_numerator) / set.line_rate_denominator;
        if (const Status same = check_rate(swept, sync, "line", line_hz, sync.line_rate_hz);
            !same) {
            return same;
        }
        if (const Status same =
                check_rate(swept, sync, "field", 2 * line_hz / set.half_lines, sync.field_rate_hz);
            !same) {
            return same;
        }
    }
    return Done{};
}

std::optional<analysis::FigureSet> sweep_figures_of(const SweptBoard& swept, lock::SweepAxis axis) {
    const auto found =
        std::find_if(swept.sweeps.begin(), swept.sweeps.end(),
                     [&](const lock::SweepSummary& s) { return s.settings.axis == axis; });
    if (found == swept.sweeps.end()) {
        return std::nullopt;
    }
    analysis::FigureSet figures = lock::sweep_figures(*found);
    for (analysis::Figure& figure : figures) {
        const bool rate = figure.status == analysis::FigureStatus::kMeasured && figure.unit == "Hz";
        figure.u_clock = rate ? figure.value * swept.clock_u_relative : 0;
    }
    return figures;
}

Result<SweepEvidence> sweep_evidence(const std::vector<std::string>& files, const SweptSync& sync,
                                     bool simulated, Seams& seams) {
    SweepEvidence evidence;
    std::map<lock::SweepAxis, std::string> taken;
    for (const std::string& file : files) {
        const Result<SweptBoard> loaded = load_swept_board(file, seams);
        if (!loaded) {
            return loaded.error();
        }
        const SweptBoard& swept = loaded.value();
        if (const Status same = check_swept_sync(swept, sync); !same) {
            return same.error();
        }
        if (!(sync.line_rate_hz > 0) || !(sync.field_rate_hz > 0)) {
            evidence.remarks.push_back(fmt::format(
                "{} does not tell all its rates: whether {} is of the same sync was not checked in "
                "full",
                sync.file, file));
        }
        if (swept.simulated != simulated) {
            evidence.remarks.push_back(fmt::format("{} and {}: one is of the simulated bench, one "
                                                   "is not",
                                                   sync.file, file));
        }
        for (const lock::SweepSummary& s : swept.sweeps) {
            const auto [at, first] = taken.emplace(s.settings.axis, file);
            if (!first) {
                return Error{ErrorKind::kUsage,
                             fmt::format("{} and {} both hold a {} sweep, expected one; give the "
                                         "one of the board as it is in {}",
                                         at->second, file, word(s.settings.axis), sync.file)};
            }
            const auto figures = sweep_figures_of(swept, s.settings.axis);
            evidence.figures.insert(evidence.figures.end(), figures->begin(), figures->end());
            for (const std::string& reason : lock::reasons_against(s)) {
                evidence.remarks.push_back(
                    fmt::format("{} lock sweep: {}", word(s.settings.axis), reason));
            }
        }
    }
    return evidence;
}

} // namespace yokedock::cli
