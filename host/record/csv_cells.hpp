// SPDX-License-Identifier: MIT
// One line of separated values to cells, and one cell to a number. Inside the module only.
#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace yokedock::record {

/// The cells, quotes and outer blanks taken off; nothing when a quote is not closed or followed by
/// text.
[[nodiscard]] std::optional<std::vector<std::string_view>> split_cells(std::string_view line,
                                                                       char separator);

/// How often c stands outside quotes.
[[nodiscard]] std::size_t count_outside_quotes(std::string_view line, char c);

[[nodiscard]] std::string_view trimmed(std::string_view text);

enum class NumberFault { kNone, kEmpty, kText, kNotFinite, kDecimalComma };
struct CellNumber {
    double value = 0;
    NumberFault fault = NumberFault::kNone;
};

/// Decimal number with point (or comma when decimal_comma), optional exponent. Independent of the
/// locale.
[[nodiscard]] CellNumber cell_number(std::string_view cell, bool decimal_comma);

} // namespace yokedock::record
