// SPDX-License-Identifier: MIT
#include "host/cli/output.hpp"
#include "host/record/file.hpp"
#include "host/report/json.hpp"
#include "host/report/summary.hpp"
#include "host/report/table.hpp"
#include "host/report/text.hpp"
#include <filesystem>
#include <fmt/format.h>
#include <ostream>

namespace yokedock::cli {
record::IfExists if_exists(const OutputOptions& options) {
    return options.force ? record::IfExists::kReplace : record::IfExists::kRefuse;
}

void add_output_options(Parser& command, OutputOptions& options, const std::string& what) {
    command.add_flag("--json", options.json, "results as JSON").group("Output");
    command.add_flag("--plot", options.plot, "draw " + what + " as text").group("Output");
    command
        .add_option("--svg", options.svg_file,
                    "draw " + what + " into this SVG file (needs gnuplot)")
        .group("Output");
    command
        .add_option("--png", options.png_file,
                    "draw " + what + " into this PNG file (needs gnuplot)")
        .group("Output");
    command.add_flag("--force", options.force, "replace files that exist").group("Output");
}

std::string dated_name(const std::string& prefix, const std::string& utc,
                       const std::string& ending) {
    std::string stamp;
    for (const char c : utc) {
        if (c != '-' && c != ':') {
            stamp += c;
        }
    }
    std::string path = prefix + stamp + ending;
    for (int number = 2; std::filesystem::exists(path); ++number) {
        path = fmt::format("{}{}-{}{}", prefix, stamp, number, ending);
    }
    return path;
}

std::string record_path(const std::string& asked, const std::string& utc) {
    return asked.empty() ? dated_name("yokedock-", utc, ".json") : asked;
}

Status check_outputs(const OutputOptions& options, const std::string& record_file) {
    for (const std::string& path : {record_file, options.svg_file, options.png_file}) {
        if (path.empty()) {
            continue;
        }
        if (const Status status = record::check_writable(path, if_exists(options)); !status) {
            return status;
        }
    }
    return Done{};
}

Status draw_pictures(const std::function<std::string(report::PictureFormat)>& program, bool any,
                     const OutputOptions& options, Seams& seams) {
    for (const auto& [path, format] : {std::pair{&options.svg_file, report::PictureFormat::kSvg},
                                       std::pair{&options.png_file, report::PictureFormat::kPng}}) {
        if (path->empty()) {
            continue;
        }
        if (!any) {
            seams.err << "warning: no ramp was measured, so " << *path << " was not drawn\n";
            continue;
        }
        const Result<std::string> picture = seams.draw(program(format));
        if (!picture) {
            return picture.error();
        }
        if (const Status written = record::write_file(*path, picture.value(), if_exists(options));
            !written) {
            return written.error();
        }
        seams.err << "picture: " << *path << '\n';
    }
    return Done{};
}

Status show(const record::Record& record, const Evaluation& evaluation,
            const OutputOptions& options, const std::string& record_file,
            const std::string& command, Seams& seams) {
    if (options.json) {
        seams.out << report::json_output(record, evaluation.warnings, command, record_file);
    } else {
        seams.out << report::heading(record) << '\n'
                  << report::figure_table(evaluation.figures) << '\n'
                  << report::summary(evaluation.figures);
        if (options.plot) {
            for (const report::RampPlot& plot : evaluation.plots) {
                seams.out << '\n' << report::terminal_plot(plot);
            }
            if (evaluation.plots.empty()) {
                seams.out << "\nNo ramp was measured, so there is none to draw.\n";
            }
        }
    }
    seams.out.flush();
    for (const std::string& warning : evaluation.warnings) {
        seams.err << report::paragraph("warning: ", report::printable(warning));
    }
    return draw_pictures(
        [&](report::PictureFormat format) {
            return report::gnuplot_program(evaluation.plots, format);
        },
        !evaluation.plots.empty(), options, seams);
}

} // namespace yokedock::cli
