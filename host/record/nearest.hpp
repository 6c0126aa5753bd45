// SPDX-License-Identifier: MIT
// The known word most like a misspelt one.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace yokedock::record {

/// Fewest insertions, deletions, replacements and swaps of neighbours between two words (Damerau,
/// Communications of the ACM 7, 1964; each place touched once).
[[nodiscard]] std::size_t word_distance(std::string_view a, std::string_view b);

/// "" when no word is within a third of the letters, at least two, nor is any cut short (its unit
/// left off: "v_rate"). The first of equals.
[[nodiscard]] std::string nearest_word(std::string_view misspelt,
                                       const std::vector<std::string>& known);

} // namespace yokedock::record
