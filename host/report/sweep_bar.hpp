// SPDX-License-Identifier: MIT
// The ranges of a sweep as a bar of text.
#pragma once
#include "host/lock/sweep_types.hpp"
#include <string>

namespace yokedock::report {

/// Hold range, pull-in range and the range regained on the way back over one another, set rate and
/// free run marked below, with a scale and a legend. Plain ASCII, at most 80 columns, ends with a
/// newline. The scale reaches from the lowest to the highest thing to be shown.
[[nodiscard]] std::string sweep_bar(const lock::SweepSummary& summary);

/// One line for a turn of --watch: hold range on the fixed scale low_hz to high_hz, so that it is
/// seen to move from line to line, and in figures. No newline.
[[nodiscard]] std::string watch_line(const lock::SweepSummary& summary, double elapsed_s);

} // namespace yokedock::report
