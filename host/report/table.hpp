// SPDX-License-Identifier: MIT
// The figures as a text table.
#pragma once
#include "host/analysis/figure.hpp"
#include <string>

namespace yokedock::report {

/// Grouped, plain ASCII, at most kColumns wide, ends with a newline. Every figure appears: one that
/// was not measured says why.
[[nodiscard]] std::string figure_table(const analysis::FigureSet& figures);

/// The same rows in the order given, without groups and closing words.
[[nodiscard]] std::string figure_rows(const analysis::FigureSet& figures);

} // namespace yokedock::report
