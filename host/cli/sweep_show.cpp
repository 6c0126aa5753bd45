// SPDX-License-Identifier: MIT
#include "host/cli/sweep_show.hpp"
#include "host/cli/sweep_run.hpp"
#include "host/lock/verdict.hpp"
#include "host/record/file.hpp"
#include "host/report/sweep_bar.hpp"
#include "host/report/sweep_csv.hpp"
#include "host/report/sweep_json.hpp"
#include "host/report/sweep_plot.hpp"
#include "host/report/sweep_table.hpp"
#include "host/report/text.hpp"
#include <algorithm>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
namespace {

std::string verdict_text(const report::SweepVerdict& verdict) {
    if (!verdict.against.empty()) {
        std::string out;
        for (const std::string& reason : verdict.against) {
            out += report::paragraph("  AGAINST THE BOARD: ", report::printable(reason));
        }
        return out;
    }
    return verdict.summary.complete
               ? fmt::format("  Good: it locks at the set rate, at least {:.0f} % from every limit "
                             "found.\n",
                             100 * lock::kLeastMarginShare)
               : "";
}

void print_text(const record::SweepLog& log, const std::vector<report::SweepVerdict>& verdicts,
                const SweepCommand& options, Seams& seams) {
    seams.out << report::sweep_heading(log);
    if (log.header.repeats) { // a table per turn would bury the movement
        double elapsed_s = 0;
        for (std::size_t i = 0; i < verdicts.size() && log.runs[i].summary; ++i) {
            elapsed_s += log.runs[i].steps.back().time_s;
            seams.out << report::watch_line(verdicts[i].summary, elapsed_s) << '\n';
        }
        return;
    }
    for (std::size_t i = 0; i < verdicts.size(); ++i) {
        const auto& steps = log.runs[i].steps;
        seams.out << '\n'
                  << report::sweep_table(verdicts[i].summary, steps) << verdict_text(verdicts[i])
                  << '\n'
                  << report::sweep_bar(verdicts[i].summary);
        if (options.output.plot) {
            seams.out << '\n'
                      << report::terminal_plot(report::sweep_plot(verdicts[i].summary, steps));
        }
    }
    if (verdicts.empty()) {
        seams.out << "No step was made.\n";
    }
}

Status draw(const std::vector<report::SweepPlot>& plots, const std::string& path,
            report::PictureFormat format, const SweepCommand& options, Seams& seams) {
    if (path.empty()) {
        return Done{};
    }
    if (plots.empty()) {
        seams.err << "warning: no step was locked, so " << path << " was not drawn\n";
        return Done{};
    }
    const Result<std::string> picture = seams.draw(report::gnuplot_program(plots, format));
    if (!picture) {
        return picture.error();
    }
    if (const Status written = record::write_file(path, picture.value(), if_exists(options.output));
        !written) {
        return written.error();
    }
    seams.err << "picture: " << path << '\n';
    return Done{};
}

Status write_files(const record::SweepLog& log, const std::vector<report::SweepVerdict>& verdicts,
                   const SweepCommand& options, Seams& seams) {
    if (!options.csv_file.empty()) {
        if (const Status written = record::write_file(options.csv_file, report::sweep_csv(log),
                                                      if_exists(options.output));
            !written) {
            return written;
        }
        seams.err << "table: " << options.csv_file << '\n';
    }
    std::vector<report::SweepPlot> plots;
    for (std::size_t i = 0; i < verdicts.size(); ++i) {
        report::SweepPlot plot = report::sweep_plot(verdicts[i].summary, log.runs[i].steps);
        if (report::has_points(plot)) {
            plots.push_back(std::move(plot));
        }
    }
    if (const Status svg =
            draw(plots, options.output.svg_file, report::PictureFormat::kSvg, options, seams);
        !svg) {
        return svg;
    }
    return draw(plots, options.output.png_file, report::PictureFormat::kPng, options, seams);
}

} // namespace

Status check_sweep_outputs(const SweepCommand& options, const std::string& new_log) {
    if (const Status outputs = check_outputs(options.output, new_log); !outputs) {
        return outputs;
    }
    return options.csv_file.empty()
               ? Status(Done{})
               : record::check_writable(options.csv_file, if_exists(options.output));
}

Result<ExitCode> show_sweeps(const record::SweepLog& log, const SweepCommand& options,
                             const std::string& log_file, Seams& seams) {
    std::vector<report::SweepVerdict> verdicts;
    for (std::size_t i = 0; i < log.runs.size(); ++i) {
        Result<lock::SweepSummary> summary = summary_of(log, i, log_file);
        if (!summary) {
            return summary.error();
        }
        verdicts.push_back({summary.value(), lock::reasons_against(summary.value())});
    }
    std::vector<std::string> warnings;
    if (!log.warning.empty()) {
        warnings.push_back(log.warning);
    }
    if (options.output.json) {
        seams.out << report::sweep_json(log, verdicts, warnings, log_file);
    } else {
        print_text(log, verdicts, options, seams);
    }
    seams.out.flush();
    for (const std::string& warning : warnings) {
        seams.err << report::paragraph("warning: ", report::printable(warning));
    }
    if (const Status written = write_files(log, verdicts, options, seams); !written) {
        return written.error();
    }
    const bool against = std::any_of(verdicts.begin(), verdicts.end(),
                                     [](const auto& verdict) { return !verdict.against.empty(); });
    return against ? ExitCode::kVerdict : ExitCode::kGood;
}

} // namespace yokedock::cli
