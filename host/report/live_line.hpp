// SPDX-License-Identifier: MIT
// The readings of `run`: one line each.
#pragma once
#include "host/analysis/figure.hpp"
#include <string>

namespace yokedock::report {

struct LiveReading {
    double elapsed_s = 0;
    analysis::FigureSet figures;
};

/// At most kColumns wide, no newline. What was not measured is "-".
[[nodiscard]] std::string live_line(const LiveReading& reading);

/// The same values as one JSON object without newline; null for what was not measured.
[[nodiscard]] std::string live_json(const LiveReading& reading);

} // namespace yokedock::report
