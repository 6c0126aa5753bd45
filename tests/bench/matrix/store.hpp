// SPDX-License-Identifier: MIT
// Measured cases as lines of JSON, so that they can be judged again without being measured again.
#pragma once
#include "tests/bench/matrix/cases.hpp"

namespace yokedock::matrix {

struct Stored {
    std::map<std::string, std::map<std::string, record::ExpectedFigure>> expected; ///< by design
    std::vector<Case> cases;
};

/// Figures that were measured, with name, unit, value and total uncertainty, to six digits.
[[nodiscard]] std::string case_line(const Case& measured);
[[nodiscard]] std::string expected_line(const Design& design);
/// Adds a file's lines. kFile when it cannot be read; throws nlohmann's errors on a broken line
/// (a tool's own file).
[[nodiscard]] Status read_stored(const std::string& path, Stored& into);

} // namespace yokedock::matrix
