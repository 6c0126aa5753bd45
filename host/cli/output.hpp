// SPDX-License-Identifier: MIT
// What measure, analyse and import have in common: showing figures, saving records and pictures.
#pragma once
#include "host/cli/command.hpp"
#include "host/cli/evaluate.hpp"
#include "host/record/record.hpp"
#include <functional>
#include <string>

namespace yokedock::cli {

struct OutputOptions {
    bool json = false;
    bool plot = false;
    bool force = false;
    std::string svg_file;
    std::string png_file;
};

/// what: what the pictures show.
void add_output_options(Parser& command, OutputOptions& options,
                        const std::string& what = "both ramps");

/// Where a record goes: what the user said, or a free name made from the time.
[[nodiscard]] std::string record_path(const std::string& asked, const std::string& utc);
/// A name that no file here has yet: prefix, time, ending.
[[nodiscard]] std::string dated_name(const std::string& prefix, const std::string& utc,
                                     const std::string& ending);

/// Every file the options name can be written: asked before the work, so that none is lost to a
/// typing error.
[[nodiscard]] Status check_outputs(const OutputOptions& options, const std::string& record_file);

/// Prints table or JSON, writes the pictures. record_file is "" when none was saved; remarks go
/// below the table and into the JSON; command is its name.
[[nodiscard]] Status show(const record::Record& record, const Evaluation& evaluation,
                          const OutputOptions& options, const std::string& record_file,
                          const std::string& command, Seams& seams);

/// Writes the pictures that the options ask for; program makes what gnuplot is to run. any: false:
/// there is nothing to draw, which is said.
[[nodiscard]] Status draw_pictures(const std::function<std::string(report::PictureFormat)>& program,
                                   bool any, const OutputOptions& options, Seams& seams);

[[nodiscard]] record::IfExists if_exists(const OutputOptions& options);

} // namespace yokedock::cli
