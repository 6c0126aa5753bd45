// SPDX-License-Identifier: MIT
#include "host/record/csv.hpp"
#include "host/record/csv_cells.hpp"
#include "shared/channels.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

constexpr const char* kTime = "time_s";
constexpr std::size_t kMostLineBytes = 65536;
constexpr std::uint64_t kMostLinesBeforeHeader = 100;
constexpr std::size_t kLeastRows = 2;

std::string shown(std::string_view text) {
    std::string out;
    for (const char c : text.substr(0, 60)) {
        out += c >= ' ' && c <= '~' ? c : '?';
    }
    return '"' + out + (text.size() > 60 ? "...\"" : "\"");
}

std::string joined(const std::vector<std::string>& texts) {
    return fmt::format("{}", fmt::join(texts, ", "));
}

bool all_numbers(const std::vector<std::string_view>& cells) {
    return std::all_of(cells.begin(), cells.end(), [](std::string_view cell) {
        return cell_number(cell, false).fault == NumberFault::kNone;
    });
}

bool no_numbers(const std::vector<std::string_view>& cells) {
    return std::all_of(cells.begin(), cells.end(), [](std::string_view cell) {
        const NumberFault fault = cell_number(cell, false).fault;
        return fault == NumberFault::kText || fault == NumberFault::kEmpty;
    });
}

/// "(V)", "[Volt]", "seconds": names of the unit a column should have.
bool is_base_unit(std::string_view cell, bool time) {
    std::string word;
    for (const char c : cell) {
        if (c != '(' && c != ')' && c != '[' && c != ']') {
            word += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
        }
    }
    static const std::set<std::string> kSeconds{"", "s", "sec", "second", "seconds"};
    static const std::set<std::string> kOthers{"",    "v",      "volt",    "volts", "a",
                                               "amp", "ampere", "amperes", "degc"};
    return (time ? kSeconds : kOthers).count(word) != 0;
}

} // namespace

const std::vector<std::string>& csv_channel_names() {
    static const std::vector<std::string> kNames = [] {
        std::vector<std::string> names;
        for (const Channel& channel : kChannels) {
            names.emplace_back(channel.name);
        }
        names.emplace_back("h_out_v");
        names.emplace_back("sync_v");
        return names;
    }();
    return kNames;
}

CsvReader::CsvReader(std::string file, CsvOptions options)
    : file_(std::move(file)), options_(std::move(options)) {}

Error CsvReader::fail_at(std::uint64_t line, const std::string& problem,
                         const std::string& cure) const {
    return {ErrorKind::kFile,
            fmt::format("cannot import {}, line {}: {}; {}", file_, line, problem, cure)};
}

Error CsvReader::fail(const std::string& problem, const std::string& cure) const {
    return fail_at(line_number_, problem, cure);
}

std::string CsvReader::header_of(const std::string& name) const {
    const auto mapped = options_.column_headers.find(name);
    return mapped == options_.column_headers.end() ? name : mapped->second;
}

/// Our name of a file's header; "" when there is none.
std::string CsvReader::name_of(std::string_view header) const {
    if (header == header_of(kTime)) {
        return kTime;
    }
    for (const std::string& name : csv_channel_names()) {
        if (header == header_of(name)) {
            return name;
        }
    }
    return {};
}

Status CsvReader::line(std::string_view line) {
    ++line_number_;
    if (line.size() > kMostLineBytes) {
        return fail(fmt::format("the line has more than {} bytes", kMostLineBytes),
                    "expected lines ended by LF or CR LF; save the file as plain CSV");
    }
    if (!line.empty() && line.back() == '\r') {
        line.remove_suffix(1);
    }
    if (line_number_ == 1) {
        if (line.substr(0, 3) == "\xEF\xBB\xBF") {
            line.remove_prefix(3);
        } else if (line.substr(0, 2) == "\xFF\xFE" || line.substr(0, 2) == "\xFE\xFF") {
            return fail("the file is UTF-16 text", "save it as UTF-8 or ASCII");
        }
    }
    if (line.find('\0') != std::string_view::npos) {
        return fail("the line holds zero bytes", "expected a CSV text file; export as CSV");
    }
    return columns_.empty() ? before_header(line) : data(line);
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
        if (std::find(cells->begin(), cells->end(), header_of(kTime)) != cells->end()) {
            separator_ = separator;
            return take_header(*cells);
        }
        if (cells->size() > 1 && all_numbers(*cells)) {
            return fail(
                fmt::format("a row of numbers, but no line before it names the columns; the first "
                            "line is {}",
                            first_line_),
                fmt::format("expected a header with {} and channel names; name the file's own "
                            "headers by --column {}=HEADER --column CHANNEL=HEADER",
                            header_of(kTime), kTime));
        }
    }
    if (line_number_ > kMostLinesBeforeHeader) {
        return fail(fmt::format("no header within {} lines; the first line is {}",
                                kMostLinesBeforeHeader, first_line_),
                    fmt::format("expected a line with {} and channel names (or --column {}=HEADER)",
                                header_of(kTime), kTime));
    }
    return Done{};
}

Status CsvReader::take_header(const Cells& cells) {
    for (const std::string_view cell : cells) {
        Column column;
        column.header = std::string(cell);
        const bool ignored = options_.ignored_headers.count(column.header) != 0;
        column.name = ignored ? "" : name_of(cell);
        if (column.name.empty() && !ignored) {
            return fail(
                fmt::format("the header {} is unknown", shown(cell)),
                fmt::format("expected {} and any of {}; use --column NAME={} or --ignore {}", kTime,
                            joined(csv_channel_names()), shown(cell), shown(cell)));
        }
        for (const Column& other : columns_) {
            if (!column.name.empty() && other.name == column.name) {
                return fail(fmt::format("two columns are {}", column.name),
                            "expected each once; take one out or --ignore it");
            }
        }
        if (const auto scale = options_.scales.find(column.name); scale != options_.scales.end()) {
            column.factor = scale->second;
        }
        if (column.name == kTime && !columns_.empty()) {
            return fail(fmt::format("{} is column {}", shown(cell), columns_.size() + 1),
                        "expected time in the first column; put it there");
        }
        if (!column.name.empty() && column.name != kTime) {
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

/// Some instruments give units in a row below the header. They are believed only where they change
/// nothing.
Status CsvReader::take_units(const Cells& cells) {
    for (std::size_t i = 0; i < cells.size(); ++i) {
        const Column& column = columns_[i];
        const bool scaled = options_.scales.count(column.name) != 0;
        if (!column.name.empty() && !scaled && !is_base_unit(cells[i], column.name == kTime)) {
            return fail(
                fmt::format("{} stands where the first row of numbers should be", shown(cells[i])),
                fmt::format("expected seconds, volts, amperes or degC; if it is another unit add "
                            "--scale {}=FACTOR",
                            column.name));
        }
    }
    table_.warnings.push_back(
        fmt::format("{}, line {}: taken as a row of units", file_, line_number_));
    return Done{};
}

Status CsvReader::data(std::string_view line) {
    if (trimmed(line).empty()) {
        if (blank_line_ == 0) {
            blank_line_ = line_number_;
        }
        return Done{};
    }
    if (blank_line_ != 0 && !table_.time_s.empty()) {
        return fail_at(blank_line_, "a blank line with more rows after it",
                       "expected one unbroken table: rows are missing or two exports were joined");
    }
    blank_line_ = 0;
    const auto cells = split_cells(line, separator_);
    if (!cells) {
        return fail("a quote is not closed", "expected plain numbers; export again");
    }
    if (cells->size() != columns_.size()) {
        const bool commas = separator_ == ',' && cells->size() > columns_.size();
        return fail(
            fmt::format("{} cells, and the header has {}", cells->size(), columns_.size()),
            commas ? "expected as many as the header; if the file has decimal commas export it "
                     "with points, or with semicolons between cells and --decimal-comma"
                   : "expected as many as the header; the row is cut off, export again");
    }
    if (first_data_line_ == 0 && table_.warnings.empty() && no_numbers(*cells)) {
        return take_units(*cells);
    }
    return take_row(*cells);
}

Status CsvReader::take_row(const Cells& cells) {
    if ((table_.time_s.size() + 1) * (table_.columns.size() + 1) > kMaxCsvValues) {
        return fail(fmt::format("more than {} values", kMaxCsvValues),
                    "expected a shorter capture; cut it to the part of interest");
    }
    if (first_data_line_ == 0) {
        first_data_line_ = line_number_;
    }
    for (std::size_t i = 0; i < cells.size(); ++i) {
        if (!columns_[i].name.empty()) {
            if (const Status taken = take_cell(cells[i], i); !taken) {
                return taken.error();
            }
        }
    }
    return Done{};
}

Status CsvReader::take_cell(std::string_view cell, std::size_t at) {
    const Column& column = columns_[at];
    const CellNumber number = cell_number(cell, options_.decimal_comma);
    const std::string what = fmt::format("{} (column {}) is {}", column.name, at + 1, shown(cell));
    switch (number.fault) {
    case NumberFault::kNone:
        break;
    case NumberFault::kEmpty:
        return fail(fmt::format("{} (column {}) is empty", column.name, at + 1),
                    "expected a number in every cell; export again");
    case NumberFault::kNotFinite:
        return fail(what, "expected a finite number: the input was clipped or not sampled there; "
                          "choose a larger range or cut the row's stretch out");
    case NumberFault::kDecimalComma:
        return fail(what, "expected a decimal point; add --decimal-comma if that is what it is");
    case NumberFault::kText:
        return fail(what, options_.decimal_comma ? "expected a number with a decimal comma"
                                                 : "expected a number with a decimal point");
    }
    const double value = number.value * column.factor;
    if (column.name != kTime) {
        table_.columns[column.index].push_back(value);
        return Done{};
    }
    if (!table_.time_s.empty() && value <= table_.time_s.back()) {
        return fail(
            fmt::format("time {} s follows {} s", value, table_.time_s.back()),
            "expected increasing time: if times repeat, export more digits; if they jump back, "
            "the rows are out of order or two captures were joined");
    }
    table_.time_s.push_back(value);
    return Done{};
}

/// A row that was lost leaves a step of at least twice the others; times rounded to too few digits
/// look alike.
Status CsvReader::check_steps() const {
    std::vector<double> steps;
    for (std::size_t i = 1; i < table_.time_s.size(); ++i) {
        steps.push_back(table_.time_s[i] - table_.time_s[i - 1]);
    }
    auto middle = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
    std::nth_element(steps.begin(), middle, steps.end());
    const double limit = 1.5 * *middle;
    for (std::size_t i = 1; i < table_.time_s.size(); ++i) {
        const double step = table_.time_s[i] - table_.time_s[i - 1];
        if (step > limit) {
            return fail_at(
                first_data_line_ + i,
                fmt::format("{:.4g} s since the row before, and the usual step is {:.4g} s", step,
                            *middle),
                "expected equal steps: rows are missing, or the times have too few digits; "
                "export again");
        }
    }
    return Done{};
}

Result<CsvTable> CsvReader::finish() {
    if (line_number_ == 0) {
        return Error{
            ErrorKind::kFile,
            fmt::format("cannot import {}: the file is empty, expected a CSV table; export again",
                        file_)};
    }
    if (columns_.empty()) {
        return fail(fmt::format("the file ends and no line names the columns; the first line is {}",
                                first_line_.empty() ? "blank" : first_line_),
                    fmt::format("expected a header with {} and channel names, separated by comma, "
                                "semicolon or tab; name other headers by --column NAME=HEADER",
                                header_of(kTime)));
    }
    if (table_.time_s.size() < kLeastRows) {
        return fail(fmt::format("the file ends after {} rows of numbers", table_.time_s.size()),
                    "expected a capture of at least some fields or lines; export again");
    }
    if (const Status steps = check_steps(); !steps) {
        return steps.error();
    }
    return std::move(table_);
}

} // namespace yokedock::record
