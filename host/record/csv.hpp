// SPDX-License-Identifier: MIT
// Oscilloscope files: comma, semicolon or tab separated values, first column time_s, then channels
// by name. docs/record.md says what is accepted. Nothing is guessed: where two readings of a file
// are possible it is refused, with the line number and what to do.
#pragma once
#include "host/result.hpp"
#include <cstdint>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace yokedock::record {

inline constexpr const char* kTimeName = "time_s";
constexpr std::uint64_t kMaxCsvBytes = 1ull << 30;
constexpr std::size_t kMaxCsvValues = 40'000'000; ///< of all columns together: 320 MB of memory

struct CsvOptions {
    std::map<std::string, std::string> column_headers; ///< our name -> the file's header
    std::map<std::string, double> scales;              ///< our name -> factor to SI units
    std::set<std::string> ignored_headers;
    bool ignore_others = false; ///< leave out every column that has no name of ours
    bool decimal_comma = false;
    double step_s =
        0; ///< rows are this far apart, whatever few digits the times have; 0: as they say
    std::function<bool()> stopped; ///< asked now and then while reading; may be empty
};

struct CsvTable {
    std::vector<double> time_s; ///< strictly increasing
    std::vector<std::string> names;
    std::vector<std::vector<double>> columns; ///< one per name, as long as time_s
    std::vector<std::string> warnings;
};

/// Takes a file line by line. After an error it must not be used on.
class CsvReader {
  public:
    /// file is only for messages.
    CsvReader(std::string file, CsvOptions options);
    /// line without its '\n'; a '\r' at its end is taken off.
    [[nodiscard]] Status line(std::string_view line);
    /// After the last line.
    [[nodiscard]] Result<CsvTable> finish();

  private:
    using Cells = std::vector<std::string_view>;
    [[nodiscard]] Status before_header(std::string_view line);
    [[nodiscard]] Status take_header(const Cells& cells);
    [[nodiscard]] bool is_text(const Cells& cells) const;
    [[nodiscard]] Status take_units(const Cells& cells);
    [[nodiscard]] Status data(std::string_view line);
    [[nodiscard]] Status take_row(const Cells& cells);
    [[nodiscard]] Status take_cell(std::string_view cell, std::size_t column);
    [[nodiscard]] Status take_time(double value);
    [[nodiscard]] bool left_out(std::string_view header) const;
    [[nodiscard]] std::string header_cure() const;
    [[nodiscard]] Status settle_times();
    [[nodiscard]] std::string header_of(const std::string& name) const;
    [[nodiscard]] std::string name_of(std::string_view header) const;
    [[nodiscard]] Error fail(const std::string& problem, const std::string& cure) const;
    [[nodiscard]] Error fail_at(std::uint64_t line, const std::string& problem,
                                const std::string& cure) const;

    struct Column {
        std::string header;
        std::string name; ///< "" for one that is ignored
        double factor = 1;
        bool scaled = false;   ///< by an option
        std::size_t index = 0; ///< in table_.columns; without meaning for time_s
    };

    std::string file_;
    CsvOptions options_;
    CsvTable table_;
    std::vector<Column> columns_;        ///< of the file; empty before the header line
    std::string first_line_;             ///< for the message when no header is found
    std::vector<std::string> candidate_; ///< cells of the last line that may be the header
    double time_digit_ = 0;              ///< the largest last digit that a time was written with
    std::uint64_t line_number_ = 0;
    std::uint64_t first_data_line_ = 0;
    std::uint64_t blank_line_ = 0; ///< the first blank line after data, 0: none
    char separator_ = ',';
};

/// Reads a file; its size is checked before a byte is read, and it is never held in memory as a
/// whole.
[[nodiscard]] Result<CsvTable> read_csv(const std::string& path, const CsvOptions& options);

/// The names a column may have, without time_s: the channel table and the two an oscilloscope alone
/// sees whole.
[[nodiscard]] const std::vector<std::string>& csv_channel_names();

} // namespace yokedock::record
