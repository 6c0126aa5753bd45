// SPDX-License-Identifier: MIT
// Small text tools of the tables. Everything printed is plain ASCII and at most kColumns wide.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace yokedock::report {

constexpr std::size_t kColumns = 100;

/// Bytes that are not printable ASCII become '?'. Files may hold anything.
[[nodiscard]] std::string printable(std::string_view text);

/// Broken at blanks into lines of at most width; a longer word is cut. At least one line.
[[nodiscard]] std::vector<std::string> wrapped(std::string_view text, std::size_t width);

/// wrapped() joined: the first line after `first`, the others after as many blanks. Ends with a
/// newline.
[[nodiscard]] std::string paragraph(std::string_view first, std::string_view text,
                                    std::size_t width = kColumns);

/// A value with as many decimals as its standard uncertainty has sense: two digits of it. Without
/// one (0 or NaN) six significant digits.
[[nodiscard]] std::string number_text(double value, double u);

/// "59.94006 +- 0.00012 Hz"
[[nodiscard]] std::string quantity_text(double value, double u, std::string_view unit);

} // namespace yokedock::report
