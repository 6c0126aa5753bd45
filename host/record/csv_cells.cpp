// SPDX-License-Identifier: MIT
#include "host/record/csv_cells.hpp"
#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>

namespace yokedock::record {
namespace {

bool blank(char c) {
    return c == ' ' || c == '\t';
}

bool equals_ignoring_case(std::string_view text, std::string_view lower) {
    return std::equal(text.begin(), text.end(), lower.begin(), lower.end(), [](char a, char b) {
        return (a >= 'A' && a <= 'Z' ? static_cast<char>(a - 'A' + 'a') : a) == b;
    });
}

bool spells_not_finite(std::string_view text) {
    if (!text.empty() && (text.front() == '+' || text.front() == '-')) {
        text.remove_prefix(1);
    }
    for (const char* word :
         {"nan", "inf", "infinity", "1.#ind", "1.#qnan", "1.#inf", "ovl", "clipped"}) {
        if (equals_ignoring_case(text, word)) {
            return true;
        }
    }
    // Marks for no reading: "****", "----".
    return text.size() >= 2 && text.find_first_not_of("*-") == std::string_view::npos;
}

/// SCPI-1999 volume 1, 7.2.1 (from memory): 9.9E37 stands for infinity, 9.91E37 for not a number.
constexpr double kScpiInfinity = 9.9e37;

double last_digit_of(std::string_view number) {
    const auto exponent_at = std::min(number.find_first_of("eE"), number.size());
    const std::string_view digits = number.substr(0, exponent_at);
    const auto point = digits.find('.');
    const auto after = point == std::string_view::npos ? 0 : digits.size() - point - 1;
    int exponent = 0;
    if (exponent_at < number.size()) {
        std::string_view text = number.substr(exponent_at + 1);
        text.remove_prefix(!text.empty() && text.front() == '+' ? 1 : 0);
        (void)std::from_chars(text.data(), text.data() + text.size(), exponent);
    }
    return std::pow(10.0, exponent - static_cast<int>(after));
}

} // namespace

std::string_view trimmed(std::string_view text) {
    while (!text.empty() && blank(text.front())) {
        text.remove_prefix(1);
    }
    while (!text.empty() && blank(text.back())) {
        text.remove_suffix(1);
    }
    return text;
}

std::optional<std::vector<std::string_view>> split_cells(std::string_view line, char separator) {
    std::vector<std::string_view> cells;
    std::size_t begin = 0;
    bool quoted = false;
    for (std::size_t i = 0; i <= line.size(); ++i) {
        if (i < line.size() && line[i] == '"') {
            quoted = !quoted;
        }
        if (i < line.size() && (quoted || line[i] != separator)) {
            continue;
        }
        std::string_view cell = line.substr(begin, i - begin);
        // With tabs as separators a blank cell is only spaces; trimming never crosses a separator.
        cell = trimmed(cell);
        if (!cell.empty() && cell.front() == '"') {
            if (cell.size() < 2 || cell.back() != '"') {
                return std::nullopt;
            }
            cell = trimmed(cell.substr(1, cell.size() - 2));
        }
        if (cell.find('"') != std::string_view::npos) {
            return std::nullopt;
        }
        cells.push_back(cell);
        begin = i + 1;
    }
    if (quoted) {
        return std::nullopt;
    }
    return cells;
}

CellNumber cell_number(std::string_view cell, bool decimal_comma) {
    if (cell.empty()) {
        return {0, NumberFault::kEmpty};
    }
    if (spells_not_finite(cell)) {
        return {0, NumberFault::kNotFinite};
    }
    std::array<char, 64> copy{};
    if (cell.front() == '+' && cell.size() > 1 && cell[1] != '-') { // from_chars takes no plus sign
        cell.remove_prefix(1);
    }
    if (cell.size() > copy.size()) {
        return {0, NumberFault::kText};
    }
    std::copy(cell.begin(), cell.end(), copy.begin());
    char* const end = copy.data() + cell.size();
    const auto commas = std::count(copy.data(), end, ',');
    if (decimal_comma) { // a point is then a thousands separator or a mix-up: neither is guessed at
        if (commas > 1 || std::find(copy.data(), end, '.') != end) {
            return {0, NumberFault::kText};
        }
        std::replace(copy.data(), end, ',', '.');
    } else if (commas == 1) {
        char* const comma = std::find(copy.data(), end, ',');
        *comma = '.';
        double ignored = 0;
        const auto as_point = std::from_chars(copy.data(), end, ignored);
        return {0, as_point.ec == std::errc() && as_point.ptr == end ? NumberFault::kDecimalComma
                                                                     : NumberFault::kText};
    }
    double value = 0;
    const auto [stop, code] = std::from_chars(copy.data(), end, value);
    if (code == std::errc::result_out_of_range) {
        // Too small is 0 for every quantity here; too large is no quantity at all.
        const std::string_view text(copy.data(), cell.size());
        const auto exponent = text.find_first_of("eE");
        const bool tiny = exponent != std::string_view::npos && exponent + 1 < text.size() &&
                          text[exponent + 1] == '-';
        return {0, tiny && stop == end ? NumberFault::kNone : NumberFault::kNotFinite};
    }
    if (code != std::errc() || stop != end) {
        return {0, NumberFault::kText};
    }
    if (!(std::abs(value) < kScpiInfinity)) {
        return {0, NumberFault::kNotFinite};
    }
    return {value, NumberFault::kNone, last_digit_of({copy.data(), cell.size()})};
}

} // namespace yokedock::record
