// SPDX-License-Identifier: MIT
// A sweep as table, bar, watch line, CSV, JSON and pictures. The golden texts are of the example in
// tests/unit/record/example_sweep.hpp and were checked by eye against it.
#include "host/report/sweep_bar.hpp"
#include "host/report/sweep_csv.hpp"
#include "host/report/sweep_json.hpp"
#include "host/report/sweep_plot.hpp"
#include "host/report/sweep_table.hpp"
#include "host/report/text.hpp"
#include "tests/unit/record/example_sweep.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <sstream>

using namespace yokedock;
using namespace yokedock::report;
using Catch::Contains;
using lock::BoardState;
using lock::LimitStatus;
using lock::SweepSummary;

namespace {

SweepSummary summary() {
    return *example_run().summary;
}

std::vector<std::string> lines_of(const std::string& text) {
    std::vector<std::string> out;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) {
        out.push_back(line);
    }
    return out;
}

void check_fits(const std::string& text, std::size_t width) {
    for (const std::string& line : lines_of(text)) {
        INFO(line);
        CHECK(line.size() <= width);
        CHECK(printable(line) == line);
    }
}

/// The bar's row with this label, without the label.
std::string bar_row(const std::string& bar, const std::string& label) {
    for (const std::string& line : lines_of(bar)) {
        if (line.rfind("  " + label + " ", 0) == 0) {
            return line.substr(12);
        }
    }
    return "";
}

/// A horizontal sweep with both sides alike.
SweepSummary horizontal() {
    SweepSummary s = summary();
    s.settings.axis = lock::SweepAxis::kHorizontal;
    s.settings.nominal_hz = 15734.2657;
    s.settings.low_hz = 14700;
    s.settings.high_hz = 16800;
    s.settings.resolution_hz = 10;
    s.free_run_before = analysis::measured("h_free_run_hz", "free run", "Hz", 15702.25, 0.31, 4000,
                                           "least squares");
    s.free_run_after.reset();
    s.hold_low = {LimitStatus::kFound, 15000, 14990, -1, ""};
    s.hold_high = {LimitStatus::kFound, 16500, 16510, -1, ""};
    s.pull_in_low = {LimitStatus::kFound, 15400, 15390, 0.05, ""};
    s.pull_in_high = {LimitStatus::kFound, 16050, 16060, 0.05, ""};
    s.settings.returns = false;
    s.flags.clear();
    return s;
}

} // namespace

TEST_CASE("the table gives every limit with its resolution, and says why one was not measured") {
    const std::string expected =
        "Vertical: field rate swept, line rate 15734.27 Hz\n"
        "  set rate                59.9401 Hz: locked\n"
        "  free run, at start      57.2500 +- 0.0012 Hz (n 42)\n"
        "  free run, at end        not measured: there were no retrace pulses\n"
        "                          locks at    not at      resolution  from set rate           "
        "time "
        "to lock\n"
        "  hold, low               57.50 Hz    57.40 Hz    0.1 Hz      -2.44 Hz (-4.07 %)\n"
        "  hold, high              66.00 Hz    66.10 Hz    0.1 Hz      +6.06 Hz (+10.11 %)\n"
        "  pull-in, low            57.75 Hz    57.70 Hz    0.05 Hz     -2.19 Hz (-3.65 %)      "
        "0.125 "
        "s\n"
        "  pull-in, high           70.50 Hz    -           -           +10.56 Hz (+17.62 %)    "
        "0.25 "
        "s\n"
        "                          the limit lies beyond: still found at 70.5 Hz\n"
        "  regained, low           none: never locked again below 59.94 Hz\n"
        "  regained, high          not measured: the walk back was left out\n"
        "  steps                   10 in 3.3 s of bench time\n"
        "  * The set rate lies inside the hold range.\n"
        "  CONTRADICTION: pull-in reaches beyond hold at the high side\n";
    const std::string table = sweep_table(summary(), example_run().steps);
    CHECK(table == expected);
    check_fits(table, kColumns);
}

TEST_CASE("a sweep with nothing in it yet gives a table without a figure") {
    SweepSummary s;
    s.settings = example_settings();
    const std::string table = sweep_table(s, {});
    CHECK_THAT(table, Contains("undecided") && Contains("not measured"));
    CHECK_THAT(table, !Contains(" 0.00 Hz") && !Contains("nan"));
    check_fits(sweep_bar(s), 80);
    CHECK_THAT(bar_row(sweep_bar(s), "hold"), Contains("????") && !Contains("="));
}

TEST_CASE("the heading names bench, simulation and what cut the log off") {
    record::SweepLog log = example_log();
    CHECK_THAT(sweep_heading(log), Contains("serial 4711") && Contains("SIMULATED BENCH") &&
                                       Contains("525/59.94") && !Contains("INCOMPLETE"));
    log.runs[0].summary.reset();
    log.events.pop_back();
    CHECK_THAT(sweep_heading(log), Contains("INCOMPLETE: the link was lost"));
    log.events.clear();
    log.header.bench.simulated = false;
    CHECK_THAT(sweep_heading(log), Contains("INCOMPLETE: the log ends") && !Contains("SIMULATED"));
}

TEST_CASE("the bar shows ranges, set rate and free run on one scale in 80 columns") {
    const std::string expected =
        "            |56.45                                                   71.30 Hz|\n"
        "  hold      ....[=====================================].......................\n"
        "  pull-in   .....[========================================================>???\n"
        "  regained  ...............???????????????????????????????????????????????????\n"
        "               F           S\n"
        "  S set rate 59.94 Hz, F free run 57.25 Hz, = locks, . does not lock, > locks on\n"
        "  above, ? not measured\n";
    CHECK(sweep_bar(summary()) == expected);
    check_fits(expected, 80);
}

TEST_CASE("marks of the bar stand where the rates are") {
    const SweepSummary s = horizontal();
    const std::string bar = sweep_bar(s);
    check_fits(bar, 80);
    const std::string hold = bar_row(bar, "hold");
    const std::string pull_in = bar_row(bar, "pull-in");
    const std::string marks = lines_of(bar).at(3).substr(12);
    CHECK(bar_row(bar, "regained").empty()); // it was not asked for
    // 14990 to 16510 Hz and 6 % margin on 66 columns: 25.8 Hz per column.
    const double low = 14990 - 0.06 * 1520;
    const double per_column = 1.12 * 1520 / 66;
    const auto column = [&](double hz) {
        return static_cast<std::size_t>(std::floor((hz - low) / per_column));
    };
    CHECK(hold.find('[') == column(15000));
    CHECK(hold.find(']') == column(16500));
    CHECK(pull_in.find('[') == column(15400));
    CHECK(pull_in.find(']') == column(16050));
    CHECK(marks.find('S') == column(15734.2657));
    CHECK(marks.find('F') == column(15702.25));
}

TEST_CASE("a board that never locks has a bar without a range, one with its limits beyond has no "
          "ends") {
    SweepSummary s = summary();
    const lock::Limit none{LimitStatus::kNone, 0, 0, -1, "it free-runs"};
    s.hold_low = s.hold_high = none;
    const std::string row = bar_row(sweep_bar(s), "hold");
    CHECK(row.find_first_not_of('.') == std::string::npos);
    CHECK_THAT(watch_line(s, 1), Contains("hold none"));
    s.hold_low = {LimitStatus::kBeyond, 50.25, 0, -1, ""};
    s.hold_high = {LimitStatus::kBeyond, 70.5, 0, -1, ""};
    CHECK_THAT(bar_row(sweep_bar(s), "hold"), Contains("<====") && Contains("====>"));
    CHECK_THAT(watch_line(s, 1), Contains("below 50.25 to above 70.50 Hz"));
    s.free_run_before->value = s.settings.nominal_hz;
    CHECK_THAT(sweep_bar(s), Contains("*") && Contains("both in one place"));
}

TEST_CASE("a watch line has a scale of its own that does not move with the range") {
    SweepSummary s = summary();
    const std::string first = watch_line(s, 12.34);
    CHECK(first == "   12.3 s ...........F[===S=========]....... hold 57.50 to 66.00 Hz, free run "
                   "57.25 Hz");
    s.hold_high.locked_hz = 63;
    const std::string second = watch_line(s, 112.3);
    CHECK(second.find('[') == first.find('['));
    CHECK(second.find('S') == first.find('S'));
    CHECK(second.find(']') < first.find(']'));
    CHECK(first.size() <= kColumns);
}

TEST_CASE("the CSV has a row per step, a cell per column, and nothing where nothing was measured") {
    const auto lines = lines_of(sweep_csv(example_log()));
    REQUIRE(lines.size() == 11);
    CHECK(lines[0] == "sweep,axis,step,part,approach,time_s,asked_hz,achieved_hz,other_rate_hz,"
                      "half_lines,state,board_hz,board_u_hz,phase_periods,phase_u_periods,jitter_s,"
                      "acquired_s,slips,edges,reason");
    CHECK(lines[1] ==
          "0,vertical,0,free_run_before,no_sync,0.3333333333333333,,,15734.265734265735,525,"
          "\"free-running\",57.25,0.00014285714285714287,,,2.5e-06,,0,45,"
          "\"phase steady, \"\"quoted\"\", within 0.2 % of a period\"");
    CHECK_THAT(lines[2], Contains(",0.125,0,45,") && Contains("59.94000333333333"));
    for (const std::string& line : lines) {
        const std::string plain = line.substr(0, line.find("\"phase"));
        CHECK(std::count(plain.begin(), plain.end(), ',') == 19);
    }
}

TEST_CASE("the JSON names its schema and holds settings, limits and verdict of every sweep") {
    const auto json = nlohmann::json::parse(
        sweep_json(example_log(), {{summary(), {"too near"}}}, {"torn"}, "a.jsonl"));
    CHECK(json.at("schema") == 1);
    CHECK(json.at("command") == "sweep");
    CHECK(json.at("log") == "a.jsonl");
    CHECK(json.at("complete") == true);
    CHECK(json.at("simulated") == true);
    CHECK(json.at("warnings").at(0) == "torn");
    const auto& sweep = json.at("sweeps").at(0);
    CHECK(sweep.at("settings").at("low_hz") == 50.25);
    CHECK(sweep.at("steps") == 10);
    CHECK(sweep.at("hold_low").at("locked_hz") == 57.5);
    CHECK(sweep.at("return_high").at("status") == "not_measured");
    CHECK(sweep.at("against").at(0) == "too near");
}

TEST_CASE("the phase picture keeps ways apart, is in one piece, and leaves unlocked steps out") {
    const SweepPlot plot = sweep_plot(summary(), example_run().steps);
    REQUIRE(plot.down.size() == 4); // three of the walk and the set rate
    CHECK(plot.down[0].rate_hz == Approx(57).epsilon(1e-6));
    CHECK(std::isnan(plot.down[0].phase_pct));
    CHECK(plot.down[1].phase_pct == Approx(-2)); // 0.98 of a period is 2 % before
    CHECK(plot.down[3].phase_pct == Approx(2));
    CHECK(plot.up.size() == 4);
    CHECK(plot.found.size() == 1);
    CHECK(plot.limits_hz == std::vector<double>{57.5, 66});
    CHECK(has_points(plot));
    for (const PictureFormat format : {PictureFormat::kSvg, PictureFormat::kPng}) {
        const std::string program = gnuplot_program({plot, plot}, format);
        CHECK_THAT(program, Contains("layout 2,1") && Contains("$down1") && Contains("way up") &&
                                Contains("set rate") && Contains("free run"));
    }
    check_fits(terminal_plot(plot), kColumns);
    CHECK_FALSE(has_points(sweep_plot(summary(), {})));
}
