// SPDX-License-Identifier: MIT
#include "host/record/csv.hpp"
#include "host/record/csv_cells.hpp"
#include "shared/channels.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

constexpr std::size_t kMostLineBytes = 65536;
constexpr std::size_t kLeastRows = 2;

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

Status CsvReader::line(std::string_view line) {
    ++line_number_;
    if (!line.empty() && line.back() == '\r') {
        line.remove_suffix(1);
    }
    if (line.find('\r') != std::string_view::npos) {
        return fail(
            "lines end in CR alone",
            "expected LF or CR LF; convert it, for instance by: tr '\\r' '\\n' < OLD > NEW");
    }
    if (line.size() > kMostLineBytes) {
        return fail(fmt::format("the line has more than {} bytes", kMostLineBytes),
                    "expected lines ended by LF or CR LF; save the file as plain CSV");
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
    return columns_.empty() ? before_header(as_utf8(line)) : data(line);
}

Status CsvReader::data(std::string_view line) {
    if (trimmed(line).empty()) {
        if (blank_line_ == 0) {
            blank_line_ = line_number_;
        }
        return Done{};
    }
    if (trimmed(line).front() == '#') {
        return Done{};
    }
    if (blank_line_ != 0 && !table_.time_s.empty()) {
        return fail_at(blank_line_, "a blank line with more rows after it",
                       "expected one unbroken table: rows are missing or two exports were joined");
    }
    blank_line_ = 0;
    auto cells = split_cells(line, separator_);
    if (!cells) {
        return fail("a quote is not closed", "expected plain numbers; export again");
    }
    // Rows that end in a separator; rows without the columns that are left out anyway.
    while (cells->size() > columns_.size() && cells->back().empty()) {
        cells->pop_back();
    }
    while (cells->size() < columns_.size() && columns_[cells->size()].name.empty()) {
        cells->emplace_back();
    }
    if (cells->size() != columns_.size()) {
        const bool commas = separator_ == ',' && cells->size() > columns_.size();
        return fail(
            fmt::format("{} cells, and the header has {}", cells->size(), columns_.size()),
            commas ? "expected as many as the header; if the file has decimal commas export it "
                     "with points, or with semicolons between cells and --decimal-comma"
                   : "expected as many as the header; the row is cut off, export again");
    }
    if (first_data_line_ == 0 && table_.warnings.empty() && is_text(*cells)) {
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
    if (column.name != kTimeName) {
        table_.columns[column.index].push_back(value);
        return Done{};
    }
    time_digit_ = std::max(time_digit_, number.last_digit * column.factor);
    return take_time(value);
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
                    header_cure());
    }
    if (table_.time_s.size() < kLeastRows) {
        return fail(fmt::format("the file ends after {} rows of numbers", table_.time_s.size()),
                    "expected a capture of at least some fields or lines; export again");
    }
    if (const Status times = settle_times(); !times) {
        return times.error();
    }
    return std::move(table_);
}

} // namespace yokedock::record
