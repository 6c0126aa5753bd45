// SPDX-License-Identifier: MIT
// Pieces of gnuplot programs. Inside the module only.
#pragma once
#include "host/report/ramp_plot.hpp"

namespace yokedock::report {

/// Single-quoted: gnuplot expands backslashes and variables in double quotes; in single quotes only
/// the quote itself is special.
[[nodiscard]] std::string gnuplot_quoted(const std::string& text);

/// The settings every picture begins with.
[[nodiscard]] std::string gnuplot_head(PictureFormat format, std::size_t height_px);

} // namespace yokedock::report
