// SPDX-License-Identifier: MIT
// The measurement in plain words.
#pragma once
#include "host/record/record.hpp"
#include <string>

namespace yokedock::report {

/// What was measured, when, on which bench; says so when it was simulated, imported or cut off.
[[nodiscard]] std::string heading(const record::Record& record);

/// Lock, rate and size of both axes in sentences, and what could not be measured. Ends with a
/// newline.
[[nodiscard]] std::string summary(const analysis::FigureSet& figures);

/// "locked", "not locked", or "" when the set does not say. axis is 'v' or 'h'.
[[nodiscard]] std::string lock_words(const analysis::FigureSet& figures, char axis);

} // namespace yokedock::report
