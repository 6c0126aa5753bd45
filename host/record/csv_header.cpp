// SPDX-License-Identifier: MIT
// What stands above the numbers: texts, the header, a row of units.
#include "host/record/csv.hpp"
#include "host/record/csv_cells.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

constexpr std::uint64_t kMostLinesBeforeHeader = 100;

std::string joined(const std::vector<std::string>& texts) {
    return fmt::format("{}", fmt::join(texts, ", "));
}

/// As it is typed in a shell.
std::string option(const std::string& name, std::string_view header) {
    const std::string text = fmt::format("{}={}", name, header);
    return "--column " +
           (text.find_first_of(" ()[]#&;'*") == std::string::npos ? text : '"' + text + '"');
}

bool number_like(std::string_view cell) {
    const NumberFault fault = cell_number(cell, false).fault;
    return fault == NumberFault::kNone || fault == NumberFault::kDecimalComma;
}

bool may_be_header(const std::vector<std::string_view>& cells) {
    return cells.size() > 1 && std::none_of(cells.begin(), cells.end(), number_like) &&
           !std::all_of(cells.begin(), cells.end(),
                        [](std::string_view cell) { return cell_unit(cell).has_value(); });
}

/// 's', 'V', 'A' or 'C' by the end of our name.
char quantity_of(const std::string& name) {
    const char last = name.back();
    return last == 's' ? 's' : static_cast<char>(last - 'a' + 'A');
}

/// What is wrong with a column in this unit and without a scale; "" when nothing.
std::string unit_problem(const std::string& name, const CellUnit& unit) {
    if (unit.quantity == 0) {
        return {};
    }
    if (unit.quantity == quantity_of(name)) {
        return unit.factor == 1 ? std::string()
                                : fmt::format("add --scale {}={:g}", name, unit.factor);
    }
    if (unit.quantity == 'V' && quantity_of(name) == 'A') {
        return fmt::format(
            "a probe's or shunt's volts stand for amperes: add --scale "
            "{}=AMPERES_PER_VOLT{}",
            name, unit.factor == 1 ? "" : fmt::format(", times {:g} for this unit", unit.factor));
    }
    return fmt::format("is it the right column? If so add --scale {}=FACTOR", name);
}

} // namespace

std::string shown(std::string_view text) {
    std::size_t end = std::min<std::size_t>(text.size(), 60);
    while (end < text.size() && end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) {
        --end;
    }
    std::string out;
    for (const char c : text.substr(0, end)) {
        const auto byte = static_cast<unsigned char>(c);
        const bool control = byte < 0x20 || byte == 0x7F;
        out += control ? '?' : c;
    }
    return '"' + out + (end < text.size() ? "...\"" : "\"");
}

std::string CsvReader::header_of(const std::string& name) const {
    const auto mapped = options_.column_headers.find(name);
    return mapped == options_.column_headers.end() ? name : mapped->second;
}

/// Our name of a file's header; "" when there is none.
std::string CsvReader::name_of(std::string_view header) const {
    if (header == header_of(kTimeName)) {
        return kTimeName;
    }
    for (const std::string& name : csv_channel_names()) {
        if (header == header_of(name)) {
            return name;
        }
    }
    return {};
}

bool CsvReader::left_out(std::string_view header) const {
    return options_.ignored_headers.count(std::string(header)) != 0 ||
           (options_.ignore_others && name_of(header).empty());
}

/// What to type, or to write into the file.
std::string CsvReader::header_cure() const {
    if (candidate_.empty()) {
        return fmt::format("expected a line such as \"{},v_yoke_a\" above the numbers, with comma, "
                           "semicolon or tab between cells and nothing but numbers below: write it "
                           "there; channels are {}",
                           header_of(kTimeName), joined(csv_channel_names()));
    }
    return fmt::format(
        "expected a header with {} and channel names; if {} and {} are the file's own "
        "add {} {}, CHANNEL being any of {}",
        header_of(kTimeName), shown(candidate_[0]), shown(candidate_[1]),
        option(kTimeName, candidate_[0]), option("CHANNEL", candidate_[1]),
        joined(csv_channel_names()));
}

/// The header is the first line that has the time header as a cell of its own. Until then only
/// comments and texts are accepted: a row of numbers means that the header is missing or named
/// otherwise.
Status CsvReader::before_header(std::string_view line) {
    const std::string_view text = trimmed(line);
    if (text.empty() || text.front() == '#') {
        return Done{};
    }
    if (first_line_.empty()) {
        first_line_ = shown(text);
    }
    for (const char separator : {',', ';', '\t'}) {
        const auto cells = split_cells(line, separator);
        if (!cells) {
            continue;
        }
        if (std::find(cells->begin(), cells->end(), header_of(kTimeName)) != cells->end()) {
            separator_ = separator;
            return take_header(*cells);
        }
        if (cells->size() > 1 && std::all_of(cells->begin(), cells->end(), number_like)) {
            return fail(
                fmt::format("a row of numbers, but no line before it names the columns; the first "
                            "line is {}",
                            first_line_),
                header_cure());
        }
        if (may_be_header(*cells)) {
            candidate_.assign(cells->begin(), cells->end());
        }
    }
    if (line_number_ > kMostLinesBeforeHeader) {
        return fail(fmt::format("no header within {} lines; the first line is {}",
                                kMostLinesBeforeHeader, first_line_),
                    header_cure());
    }
    return Done{};
}

Status CsvReader::take_header(const Cells& all_cells) {
    Cells cells = all_cells;
    while (!cells.empty() && cells.back().empty()) { // a line that ends in a separator
        cells.pop_back();
    }
    for (const std::string_view cell : cells) {
        Column column;
        column.header = std::string(cell);
        const bool ignored = left_out(cell);
        column.name = ignored ? "" : name_of(cell);
        if (column.name.empty() && !ignored) {
            return fail(
                fmt::format("the header {} is unknown", shown(cell)),
                fmt::format("expected {} and any of {}; use --column NAME={} or --ignore {} "
                            "(--ignore-others leaves out all that have no name)",
                            kTimeName, joined(csv_channel_names()), shown(cell), shown(cell)));
        }
        for (const Column& other : columns_) {
            if (!column.name.empty() && other.name == column.name) {
                return fail(fmt::format("two columns are {}", column.name),
                            "expected each once; take one out or --ignore it");
            }
        }
        if (const auto scale = options_.scales.find(column.name); scale != options_.scales.end()) {
            column.factor = scale->second;
            column.scaled = true;
        }
        if (const auto unit = header_unit(cell); unit && !column.name.empty() && !column.scaled &&
                                                 !unit_problem(column.name, *unit).empty()) {
            return fail(fmt::format("the header {} gives a unit other than that of {}", shown(cell),
                                    column.name),
                        "expected seconds, volts, amperes or degC; " +
                            unit_problem(column.name, *unit));
        }
        if (column.name == kTimeName && !columns_.empty()) {
            return fail(fmt::format("{} is column {}", shown(cell), columns_.size() + 1),
                        "expected time in the first column; put it there");
        }
        if (!column.name.empty() && column.name != kTimeName) {
            column.index = table_.columns.size();
            table_.columns.emplace_back();
            table_.names.push_back(column.name);
        }
        columns_.push_back(std::move(column));
    }
    if (table_.columns.empty()) {
        return fail("the header names time and no channel",
                    "expected at least one of " + joined(csv_channel_names()));
    }
    return Done{};
}

/// No number in any column that is used.
bool CsvReader::is_text(const Cells& cells) const {
    for (std::size_t i = 0; i < cells.size(); ++i) {
        const NumberFault fault = cell_number(cells[i], false).fault;
        if (!columns_[i].name.empty() && fault != NumberFault::kText &&
            fault != NumberFault::kEmpty) {
            return false;
        }
    }
    return true;
}

/// Some instruments give units in a row below the header. They are believed only where they change
/// nothing.
Status CsvReader::take_units(const Cells& cells) {
    for (std::size_t i = 0; i < cells.size(); ++i) {
        const Column& column = columns_[i];
        if (column.name.empty() || column.scaled) {
            continue;
        }
        const std::string text = as_utf8(cells[i]);
        const auto unit = cell_unit(text);
        const std::string problem =
            unit ? unit_problem(column.name, *unit)
                 : fmt::format("if it is a unit add --scale {}=FACTOR", column.name);
        if (!problem.empty()) {
            return fail(fmt::format("{} stands where the first row of numbers should be, in {}",
                                    shown(text), column.name),
                        "expected numbers, or one row of s, V, A or degC; " + problem);
        }
    }
    table_.warnings.push_back(
        fmt::format("{}, line {}: taken as a row of units", file_, line_number_));
    return Done{};
}

} // namespace yokedock::record
