// SPDX-License-Identifier: MIT
// The names and units of all figures, from the analysis and the lock sweep themselves: they always
// return all of them.
#pragma once
#include "host/analysis/figure.hpp"

namespace yokedock::record {

/// Every figure, not measured; only name, text and unit mean anything. Made once.
[[nodiscard]] const analysis::FigureSet& known_figures();
/// The known figure name most like a misspelt one; "" when none is near.
[[nodiscard]] std::string nearest_figure_name(const std::string& misspelt);

} // namespace yokedock::record
