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

/// In quotes for a message, without control characters, cut after 60 bytes.
[[nodiscard]] std::string shown(std::string_view text);

[[nodiscard]] std::string_view trimmed(std::string_view text);

enum class NumberFault { kNone, kEmpty, kText, kNotFinite, kDecimalComma };
struct CellNumber {
    double value = 0;
    NumberFault fault = NumberFault::kNone;
    double last_digit = 0; ///< worth of the last digit written: 1e-5 for "1.23e-3"
};

/// Decimal number with point (or comma when decimal_comma), optional exponent. Independent of the
/// locale.
[[nodiscard]] CellNumber cell_number(std::string_view cell, bool decimal_comma);

/// What one of the unit is worth in seconds, volts, amperes or degrees: 1e-3 for "ms" or "(mV)";
/// nothing when it is no unit known. "" is 1.
struct CellUnit {
    double factor;
    char quantity; ///< 's', 'V', 'A', 'C', or 0 for ""
};
[[nodiscard]] std::optional<CellUnit> cell_unit(std::string_view cell);

/// The unit in brackets at the end of a header, "Time (ms)"; nothing when there is none.
[[nodiscard]] std::optional<CellUnit> header_unit(std::string_view header);

/// The line as UTF-8: when it is none, each byte beyond ASCII is taken for its Latin-1 character
/// (degree and micro signs of older instruments).
[[nodiscard]] std::string as_utf8(std::string_view line);

} // namespace yokedock::record
