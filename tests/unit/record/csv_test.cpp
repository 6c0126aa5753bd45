// SPDX-License-Identifier: MIT
#include "host/record/csv.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <fmt/format.h>

using namespace yokedock;
using namespace yokedock::record;
using Catch::Contains;

namespace {

Result<CsvTable> read(const std::string& text, const CsvOptions& options = {}) {
    const TempFolder folder;
    return read_csv(folder.write("scope.csv", text), options);
}

CsvTable good(const std::string& text, const CsvOptions& options = {}) {
    Result<CsvTable> table = read(text, options);
    if (!table) {
        FAIL(table.error().text);
    }
    return std::move(table).value();
}

std::string complaint(const std::string& text, const CsvOptions& options = {}) {
    const Result<CsvTable> table = read(text, options);
    REQUIRE_FALSE(table);
    CHECK(table.error().kind == ErrorKind::kFile);
    CHECK_THAT(table.error().text, Contains("scope.csv"));
    return table.error().text;
}

const std::vector<double> kTimes{0, 1e-3, 2e-3};
const std::vector<double> kValues{0.5, -1, 2.5};

void check_three_rows(const CsvTable& table) {
    CHECK(table.time_s == kTimes);
    REQUIRE(table.columns.size() == 1);
    CHECK(table.names == std::vector<std::string>{"v_yoke_a"});
    CHECK(table.columns[0] == kValues);
}

} // namespace

TEST_CASE("a plain table is read") {
    check_three_rows(good("time_s,v_yoke_a\n0,0.5\n1e-3,-1\n0.002,+2.5\n"));
    check_three_rows(
        good("time_s,v_yoke_a\n0.0,0.5\n0.001,-1.0\n0.002,2.500\n")); // points in every cell
}

TEST_CASE("line ends, byte order mark, quotes, blanks, comments and a missing last newline do not "
          "matter") {
    check_three_rows(good("time_s,v_yoke_a\r\n0,0.5\r\n1e-3,-1\r\n0.002,2.5\r\n"));
    check_three_rows(good("\xEF\xBB\xBFtime_s,v_yoke_a\n0,0.5\n1e-3,-1\n0.002,2.5"));
    check_three_rows(good("\"time_s\" , \"v_yoke_a\"\n0, 0.5\n\"1e-3\",-1\n0.002 ,2.5\n\n\n"));
    check_three_rows(good("# exported\n\n#x\ntime_s,v_yoke_a\n0,0.5\n1E-3,-1\n0.002,2.5\n"));
    check_three_rows(good("time_s;v_yoke_a\n0;0.5\n1e-3;-1\n0.002;2.5\n"));
    check_three_rows(good("time_s\tv_yoke_a\n0\t0.5\n1e-3\t-1\n0.002\t2.5\n"));
}

TEST_CASE("texts before the header and a row of base units are accepted") {
    const CsvTable table = good("Model,\"Scope, 4 channels\"\nPoints,3\ntime_s,v_yoke_a\n(s),(A)\n"
                                "0,0.5\n1e-3,-1\n0.002,2.5\n");
    check_three_rows(table);
    REQUIRE(table.warnings.size() == 1);
    CHECK_THAT(table.warnings[0], Contains("line 4") && Contains("units"));
}

TEST_CASE("a row of other units is refused unless a scale is given for the column") {
    const std::string text = "time_s,v_yoke_a\n(ms),(A)\n0,0.5\n1,-1\n2,2.5\n";
    CHECK_THAT(complaint(text),
               Contains("line 2") && Contains("(ms)") && Contains("--scale time_s"));
    CsvOptions options;
    options.scales["time_s"] = 1e-3;
    check_three_rows(good(text, options));
}

TEST_CASE(
    "a unit that is not the channel's is refused with the scale to add, in a row or a header") {
    const auto units = [](const std::string& row) {
        return fmt::format("time_s,v_yoke_a\n{}\n0,0.5\n1e-3,-1\n0.002,2.5\n", row);
    };
    CHECK_THAT(complaint(units("us,A")), Contains("--scale time_s=1e-06"));
    CHECK_THAT(complaint(units("\xB5s,A")), Contains("\xC2\xB5s") && Contains("time_s=1e-06"));
    CHECK_THAT(complaint(units("\xC2\xB5s,A")), Contains("time_s=1e-06"));
    CHECK_THAT(complaint(units("s,mA")), Contains("--scale v_yoke_a=0.001"));
    CHECK_THAT(complaint(units("s,Volt")), Contains("--scale v_yoke_a=AMPERES_PER_VOLT"));
    CHECK_THAT(complaint(units("s,mV")), Contains("times 0.001"));
    CHECK_THAT(complaint(units("s,Div")), Contains("\"Div\"") && Contains("v_yoke_a=FACTOR"));
    CHECK_THAT(complaint(units("V,A")), Contains("right column"));
    CsvOptions options;
    options.scales["v_yoke_a"] = 1;
    check_three_rows(good(units("s,Volt"), options));
    options.scales.clear();
    options.column_headers = {{"time_s", "Time (ms)"}, {"v_yoke_a", "I [A]"}};
    const std::string text = "Time (ms),I [A]\n0,0.5\n1,-1\n2,2.5\n";
    CHECK_THAT(complaint(text, options), Contains("line 1") && Contains("--scale time_s=0.001"));
    options.scales["time_s"] = 1e-3;
    check_three_rows(good(text, options));
}

TEST_CASE("separators at line ends, comments among the rows and columns left out do not matter") {
    check_three_rows(good("time_s,v_yoke_a,\n0,0.5,\n1e-3,-1,\n0.002,2.5,\n"));
    check_three_rows(good("time_s,v_yoke_a\n0,0.5,\n1e-3,-1,\n0.002,2.5,\n"));
    check_three_rows(good("time_s,v_yoke_a,\n0,0.5\n1e-3,-1\n0.002,2.5\n# end\n"));
    CsvOptions options;
    options.ignore_others = true;
    check_three_rows(good("time_s,T \xB0"
                          "C,v_yoke_a,Start,Increment\ns,?,A,0.0,1e-3\n"
                          "0,x,0.5,,\n1e-3,,-1,\n0.002,3,2.5\n",
                          options));
    options.scales["time_s"] = 1e-3; // the row's number in place of a time
    options.column_headers = {{"time_s", "X"}};
    check_three_rows(
        good("X,v_yoke_a,Increment\nSequence,A,1e-3\n0,0.5,\n1,-1,\n2,2.5,\n", options));
    // A column that is used must be there.
    CHECK_THAT(complaint("time_s,v_yoke_a,\n0,\n1,1\n"), Contains("line 2") && Contains("empty"));
}

namespace {

/// Rows step_s apart from begin_s, times in scientific notation with that many decimals; every
/// value is its row number.
std::string rows_of(double begin_s, double step_s, int decimals, int rows, int missing = -1) {
    std::string text = "time_s,v_yoke_a\n";
    for (int i = 0; i < rows; ++i) {
        if (i != missing) {
            text += fmt::format("{:.{}e},{}\n", begin_s + i * step_s, decimals, i);
        }
    }
    return text;
}

/// Largest distance from equal steps, wherever they begin (so few digits say no more of that).
double worst_off(const CsvTable& table, double step_s) {
    double least = 1;
    double most = -1;
    for (std::size_t i = 0; i < table.time_s.size(); ++i) {
        const double off = table.time_s[i] - step_s * static_cast<double>(i);
        least = std::min(least, off);
        most = std::max(most, off);
    }
    return (most - least) / 2;
}

} // namespace

TEST_CASE("times of few digits whose steps alternate are the equal steps that round to them") {
    // Four digits of 10 to 13 ms are 10 us each: steps of 14 us are written as 10, 10, 20 ...
    for (const double step_s : {14e-6, 15e-6, 12.6e-6, 27.3e-6}) {
        INFO(step_s);
        const CsvTable table = good(rows_of(10.003e-3, step_s, 3, 2000));
        REQUIRE(table.warnings.size() == 1);
        CHECK_THAT(table.warnings[0], Contains("steps of 1e-05 s"));
        // The line's own error: 10 us / sqrt(12) over 2000 rows, 2 sqrt(1 / 2000) at its ends.
        CHECK(worst_off(table, step_s) < 3 * 10e-6 / std::sqrt(12.0) * 2 / std::sqrt(2000.0));
        // One row that is missing among them is still found, wherever it is.
        for (const int missing : {20, 900, 1970}) {
            CHECK_THAT(complaint(rows_of(10.003e-3, step_s, 3, 2000, missing)),
                       Contains("rows are missing"));
        }
    }
    // Nearly a whole number of digits: a longer step may be rounding or a loss; not decided here.
    CHECK_THAT(complaint(rows_of(10e-3, 10.01e-6, 3, 3000)),
               Contains("rows are missing") && Contains("--step-s"));
    // Digits enough: no word about it.
    CHECK(good(rows_of(10e-3, 20e-6, 6, 300)).warnings.empty());
}

TEST_CASE("times that repeat for want of digits are taken by the step that is given") {
    const std::string text = rows_of(10e-3, 1e-6, 3, 500);
    CHECK_THAT(complaint(text), Contains("too few digits") && Contains("--step-s"));
    CsvOptions options;
    options.step_s = 1e-6;
    CHECK(worst_off(good(text, options), 1e-6) < 1e-12);
    options.step_s = 1.1e-6; // after 500 rows 50 us off, 10 us of them by the digits
    CHECK_THAT(complaint(text, options), Contains("--step-s 1.1e-06") && Contains("another"));
    // With digits enough a missing row is found.
    options.step_s = 1e-6;
    CHECK_THAT(complaint(rows_of(1e-3, 1e-6, 6, 500, 200), options),
               Contains("line 202") && Contains("rows are missing"));
}

TEST_CASE("other headers are named by --column, factors by --scale, and a column can be left out") {
    CsvOptions options;
    options.column_headers = {{"time_s", "Time"}, {"v_yoke_a", "CH 1"}};
    options.scales = {{"v_yoke_a", 10}};
    options.ignored_headers = {"MATH"};
    check_three_rows(good("Time,MATH,CH 1\n0,x,0.05\n1e-3,,-0.1\n0.002,nan,0.25\n", options));
}

TEST_CASE("decimal commas are told apart, and accepted when said so") {
    const std::string text = "time_s;v_yoke_a\n0;0,5\n1e-3;-1\n0,002;2,5\n";
    CHECK_THAT(complaint(text), Contains("line 2") && Contains("--decimal-comma"));
    CsvOptions options;
    options.decimal_comma = true;
    check_three_rows(good(text, options));
    CHECK_THAT(complaint("time_s;v_yoke_a\n0;1.000,5\n1;2\n", options), Contains("line 2"));
    CHECK_THAT(complaint("time_s;v_yoke_a\n0;0.5\n1;2\n", options), Contains("decimal comma"));
    CHECK_THAT(complaint("time_s,v_yoke_a\n0,0,0,5\n0,001,1,5\n"),
               Contains("line 2") && Contains("4 cells") && Contains("semicolons"));
}

TEST_CASE("every unusable table is refused with its line and what to do") {
    struct Case {
        const char* text;
        const char* line;
        const char* says;
    };
    const Case cases[] = {
        {"time_s,v_yoke\n0,1\n1,2\n", "line 1", "\"v_yoke\" is unknown"},
        {"Time,CH1\n0,1\n1,2\n", "line 2", "--column time_s=Time --column CHANNEL=CH1"},
        {"0,1\n1,2\n", "line 1", "row of numbers"},
        {"v_yoke_a,time_s\n0,1\n1,2\n", "line 1", "expected time in the first column"},
        {"time_s\n0\n1\n", "line 1", "no channel"},
        {"v_yoke_a\n1\n2\n", "line 3", "no line names the columns"},
        {"time_s,v_yoke_a,v_yoke_a\n0,1,1\n", "line 1", "two columns are v_yoke_a"},
        {"time_s,time_s\n0,1\n", "line 1", "two columns are time_s"},
        {"time_s,v_yoke_a\n0,1\n0,2\n1,3\n", "line 3", "increasing time"},
        {"time_s,v_yoke_a\n0,1\n2,2\n1,3\n", "line 4", "increasing time"},
        {"time_s,v_yoke_a\n0,1\n1,nan\n2,3\n", "line 3", "finite"},
        {"time_s,v_yoke_a\n0,1\n1,-inf\n2,3\n", "line 3", "finite"},
        {"time_s,v_yoke_a\n0,1\n1,1e999\n2,3\n", "line 3", "finite"},
        {"time_s,v_yoke_a\nnan,1\n1,1\n2,3\n", "line 2", "time_s (column 1)"},
        {"time_s,v_yoke_a\n0,1\n1,\n2,3\n", "line 3", "is empty"},
        {"time_s,v_yoke_a\n0,1\n1\n2,3\n", "line 3", "1 cells"},
        {"time_s,v_yoke_a\n0,1\n1,2,3\n2,3\n", "line 3", "3 cells"},
        {"time_s,v_yoke_a\n0,1\n1,2\n\n2,3\n", "line 4", "blank line"},
        {"time_s,v_yoke_a\n0,1\n1,2\n2,3\n4,3\n5,3\n", "line 5", "rows are missing"},
        {"time_s,v_yoke_a\n0,1\n1,2 V\n2,3\n", "line 3", "decimal point"},
        {"time_s,v_yoke_a\n0,1\n1,9.91E+37\n2,3\n", "line 3", "finite"},
        {"time_s,v_yoke_a\n0,1\n1,****\n2,3\n", "line 3", "finite"},
        {"time_s,v_yoke_a\n0,1\n0,2\n1,3\n", "line 3", "--step-s"},
        {"0.5;1\n1;2\n", "line 1", "write it there"},
        {"0,5;1\n1;2\n", "line 1", "write it there"},
        {"Model,X\nN,3\n\nTime (s),CH 1\n0,1\n1,2\n", "line 5",
         "--column \"time_s=Time (s)\" --column \"CHANNEL=CH 1\""},
        {"Time,CH1\n(ms),(mV)\n0,1\n", "line 3", "--column time_s=Time --column CHANNEL=CH1"},
        {"time_s,v_yoke_a\n0,1\n1,0x10\n2,3\n", "line 3", "decimal point"},
        {"time_s,v_yoke_a\n0,1\n1,\"2\n2,3\n", "line 3", "quote"},
        {"time_s,v_yoke_a\n0,1\n", "line 2", "after 1 rows"},
        {"time_s,v_yoke_a\n", "line 1", "after 0 rows"},
        {"\n\n", "line 2", "blank"},
        {"\xFF\xFEt\0i\0", "line 1", "UTF-16"},
        {"%PDF-1.4\nbinary\n", "line 2", "%PDF"},
    };
    for (const Case& c : cases) {
        INFO(c.text);
        CHECK_THAT(complaint(c.text), Contains(c.line) && Contains(c.says));
    }
    CHECK_THAT(complaint(""), Contains("empty"));
    CHECK_THAT(complaint(std::string("time_s,v_yoke_a\n0,\0001\n", 22)), Contains("zero bytes"));
    CHECK_THAT(complaint(std::string(70000, 'x')), Contains("line 1") && Contains("65536"));
    CHECK_THAT(complaint("time_s,v_yoke_a\r0,1\r1,2\r2,3\r"),
               Contains("line 1") && Contains("CR alone") && Contains("tr '\\r'"));
}

TEST_CASE("a file beyond the limit is refused before it is read, and one that is no file too") {
    const TempFolder folder;
    const std::string path = folder.write("huge.csv", "time_s,v_yoke_a\n");
    std::filesystem::resize_file(path, 2ull << 30); // sparse: takes no space
    const Result<CsvTable> table = read_csv(path, {});
    REQUIRE_FALSE(table);
    CHECK_THAT(table.error().text, Contains("2147483648 bytes") && Contains("at most 1073741824"));
    CHECK_FALSE(read_csv(folder.path().string(), {}));
    CHECK_FALSE(read_csv(folder.file("none.csv"), {}));
    CHECK_FALSE(read_csv("/dev/zero", {}));
}

TEST_CASE("reading ends when it is asked to") {
    CsvOptions options;
    options.stopped = [] { return true; };
    CHECK(read("time_s,v_yoke_a\n0,1\n1,2\n", options).error().kind == ErrorKind::kStopped);
}

TEST_CASE("a file of several read chunks is read without a seam") {
    std::string text = "time_s,v_yoke_a,supply_v\n";
    constexpr int kRows = 120000;
    for (int i = 0; i < kRows; ++i) {
        text += fmt::format("{:.6f},{},{}\n", i * 20e-6, i, -i);
    }
    REQUIRE(text.size() > 2u << 20);
    const CsvTable table = good(text);
    REQUIRE(table.time_s.size() == kRows);
    bool all = true;
    for (std::size_t i = 0; i < kRows; ++i) {
        all = all && table.columns[0][i] == static_cast<double>(i) &&
              table.columns[1][i] == -static_cast<double>(i);
    }
    CHECK(all);
}
