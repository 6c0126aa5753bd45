// SPDX-License-Identifier: MIT
#include "host/analysis/analyse.hpp"
#include "host/report/difference.hpp"
#include "host/report/json.hpp"
#include "host/report/live_line.hpp"
#include "host/report/summary.hpp"
#include "host/report/table.hpp"
#include "host/report/text.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <sstream>

using namespace yokedock;
using namespace yokedock::report;
using analysis::Figure;
using analysis::FigureSet;
using analysis::measured;
using analysis::not_measured;
using Catch::Contains;

namespace {

FigureSet board(double v_hz, bool v_locked, double v_a, double h_a) {
    FigureSet set;
    set.push_back(measured("v_rate_hz", "vertical rate", "Hz", v_hz, 0.001, 60, "edges"));
    set.back().u_clock = v_hz * 50e-6;
    set.push_back(measured("v_locked", "vertical locked to sync", "", v_locked ? 1 : 0, 0, 60,
                           v_locked ? "steady" : "the phase runs through"));
    set.push_back(measured("h_rate_hz", "horizontal rate", "Hz", 15734.27, 0.01, 9000, "edges"));
    set.push_back(measured("h_locked", "horizontal locked to sync", "", 1, 0, 9000, "steady"));
    set.push_back(
        measured("v_yoke_pp_a", "vertical load current, p-p", "A", v_a, 0.004, 900, "fit"));
    set.back().u_scale = 0.0039;
    set.push_back(
        measured("h_yoke_pp_a", "horizontal load current, p-p", "A", h_a, 0.02, 900, "fit"));
    set.back().u_scale = 0.0199;
    set.push_back(not_measured("h_out_peak_v", "line output node, retrace peak", "V",
                               "h_out_v was not sampled"));
    return set;
}

void check_shape(const std::string& text) {
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) {
        INFO(line);
        CHECK(line.size() <= kColumns);
        CHECK(printable(line) == line);
        CHECK((line.empty() || line.back() != ' '));
    }
}

/// All names an analysis ever gives, as it gives them without data.
FigureSet all_figures() {
    return analysis::analyse(capture::Observation{}).figures;
}

} // namespace

TEST_CASE("the table groups figures and gives value, uncertainty, unit, count and place") {
    FigureSet set = board(59.94, true, 0.8, 2.5);
    set[4].where = "top";
    const std::string table = figure_table(set);
    check_shape(table);
    CHECK_THAT(table, Contains("59.9400 +- 0.0010 Hz"));
    CHECK_THAT(table, Contains("0.8000 +- 0.0040 A") && Contains("n 900") && Contains("top"));
    CHECK(table.find("Rates and lock") < table.find("vertical rate"));
    CHECK(table.find("vertical rate") < table.find("\nVertical\n"));
    CHECK(table.find("\nVertical\n") < table.find("vertical load current"));
    CHECK(table.find("\nHorizontal\n") < table.find("horizontal load current"));
    CHECK_THAT(table, Contains("50 ppm")); // the clock's own error, apart
    CHECK_THAT(table, Contains("yes: steady"));
}

TEST_CASE("what was not measured says so with its reason and never as a number") {
    const FigureSet set = board(59.94, false, 0.8, 2.5);
    const std::string table = figure_table(set);
    CHECK_THAT(table, Contains("not measured: h_out_v was not sampled"));
    CHECK_THAT(table, Contains("NO: the phase runs through"));
    CHECK_THAT(table, !Contains("nan"));
}

TEST_CASE("a value out of range says what bound it is") {
    FigureSet set = board(59.94, true, 0.8, 2.5);
    set[4].status = analysis::FigureStatus::kOutOfRange;
    set[4].reason = "v_yoke_a stands at the upper end of its range: the true value lies beyond";
    const std::string table = figure_table(set);
    check_shape(table);
    CHECK_THAT(table, Contains("out of range: v_yoke_a stands at"));
}

TEST_CASE("no figure is left out of the table, and every reason is there") {
    const FigureSet all = all_figures();
    REQUIRE(all.size() > 50);
    const std::string table = figure_table(all);
    check_shape(table);
    std::string flat; // lines joined, runs of blanks made one
    for (const char c : table) {
        const char plain = c == '\n' ? ' ' : c;
        if (plain != ' ' || flat.empty() || flat.back() != ' ') {
            flat += plain;
        }
    }
    for (const Figure& figure : all) {
        INFO(figure.text);
        CHECK(flat.find(figure.reason) != std::string::npos);
    }
    // Texts set beside a reason may be wrapped: each must be there by its last word at least.
    for (const Figure& figure : all) {
        INFO(figure.text);
        CHECK(table.find(figure.text.substr(figure.text.rfind(' ') + 1)) != std::string::npos);
    }
}

TEST_CASE("nothing says linearity without naming the definition") {
    const std::string definitions[] = {"least-squares", "end-point", "spacing"};
    for (const Figure& figure : all_figures()) {
        if (figure.text.find("linearity") == std::string::npos) {
            continue;
        }
        bool named = false;
        for (const std::string& definition : definitions) {
            named = named || figure.text.find(definition) != std::string::npos;
        }
        INFO(figure.text);
        CHECK(named);
    }
    FigureSet set = board(59.94, true, 0.8, 2.5);
    set.push_back(measured("v_yoke_linearity_lsq_pct", "x", "%", 1.2, 0.1, 9, "", "top"));
    CHECK_THAT(summary(set), !Contains("linearity") &&
                                 Contains("least-squares line 1.20 +- 0.10 %") &&
                                 Contains("(top)"));
}

TEST_CASE("the summary says lock, rate and size of both axes in sentences") {
    const std::string text = summary(board(52.3, false, 0.62, 2.5));
    check_shape(text);
    CHECK_THAT(text, Contains("Vertical: not locked; 52.3000") && Contains("size 0.6200"));
    CHECK_THAT(text, Contains("Horizontal: locked; 15734.270"));
    CHECK_THAT(summary({}), Contains("Vertical: nothing was measured"));
}

TEST_CASE("a rolling, short picture against a good one is told in plain words") {
    const auto words =
        explain_difference(board(59.94, true, 0.80, 2.5), board(52.3, false, 0.60, 2.5), true,
                           "good.json", "bad.json");
    const std::string all = words[0] + '\n' + words[1] + '\n' + words[2];
    CHECK_THAT(words[0], Contains("bad.json is not locked") && Contains("good.json is locked") &&
                             Contains("rolls"));
    CHECK_THAT(words[1], Contains("7.6400 Hz (13 %) lower"));
    CHECK_THAT(words[2], Contains("0.2000 A (25 %) smaller"));
    CHECK_THAT(words[3], Contains("both are locked"));
    CHECK_THAT(words[4], Contains("no difference"));
}

TEST_CASE("a difference that both measurements share the cause of counts only with one bench") {
    // Own scatter: sqrt(0.004^2 - 0.0039^2) = 0.00089 each, so 0.00126 of the difference; 0.01 is
    // far beyond twice that, but below twice sqrt(2) * 0.004 = 0.0113 when gains may differ.
    const FigureSet before = board(59.94, true, 0.80, 2.5);
    const FigureSet after = board(59.94, true, 0.81, 2.5);
    const auto find = [](const std::vector<Difference>& all) {
        for (const Difference& d : all) {
            if (d.name == "v_yoke_pp_a") {
                return d;
            }
        }
        throw std::runtime_error("missing");
    };
    CHECK(find(differences(before, after, true)).differs);
    CHECK_FALSE(find(differences(before, after, false)).differs);
    CHECK(find(differences(before, after, true)).change == Approx(0.01));
}

TEST_CASE("figures missing on one side are not compared, and the words say why") {
    FigureSet before = board(59.94, true, 0.80, 2.5);
    FigureSet after = board(52.3, false, 0.62, 2.5);
    after[4] = not_measured("v_yoke_pp_a", "vertical load current, p-p", "A", "no ramp");
    const auto words = explain_difference(before, after, true, "good", "bad");
    CHECK_THAT(words[2], Contains("not measured in bad (no ramp)"));
    const std::string table = difference_table(differences(before, after, true), "good", "bad");
    check_shape(table);
    CHECK_THAT(table, Contains("2 figures were not measured in both"));
    CHECK_THAT(table, Contains("* vertical rate, Hz"));
    CHECK(explain_difference({}, {}, true, "a", "b").size() == 6);
}

TEST_CASE("the table of differences keeps its width whatever the uncertainty") {
    for (const double u : {1e-9, 1e-3, 1.0, 1e5}) {
        const FigureSet a{
            measured("h_sync_rate_hz", "horizontal sync rate", "Hz", 15734.2657342657, u, 9, "")};
        FigureSet b = a;
        b[0].value += 3.3 * u;
        check_shape(difference_table(differences(a, b, true), "a", "b"));
        check_shape(figure_table(a));
    }
}

TEST_CASE("the live line fits a terminal and shows - for what is not there") {
    const std::string line = live_line({12.3, board(52.3, false, 0.62, 2.5)});
    check_shape(line);
    CHECK_THAT(line,
               Contains("12 s | V 52.300 Hz 0.620 A NOT locked | H 15734.3 Hz 2.500 A locked"));
    CHECK_THAT(line, Contains("- V") && Contains("- degC"));
    const auto json = nlohmann::json::parse(live_json({12.3, board(52.3, false, 0.62, 2.5)}));
    CHECK(json.at("v_rate_hz") == 52.3);
    CHECK(json.at("supply_v").is_null());
    check_shape(live_line({1e9, {}}));
}

TEST_CASE("JSON output has its schema, and null for what was not measured") {
    record::Record record;
    record.tool_version = "0.1.0";
    record.imported = record::ImportedData{};
    record.figures = board(59.94, true, 0.8, 2.5);
    const auto json = nlohmann::json::parse(json_output(record, {"careful"}, "import", ""));
    CHECK(json.at("schema") == kOutputSchema);
    CHECK(json.at("command") == "import");
    CHECK(json.at("record").is_null());
    CHECK(json.at("warnings").at(0) == "careful");
    CHECK(json.at("figures").at(0).at("value") == 59.94);
    CHECK(json.at("figures").at(6).at("value").is_null());
    CHECK(json.at("figures").at(6).at("status") == "not_measured");
}

TEST_CASE("the heading marks a simulated bench and a measurement that was cut off") {
    record::Record record;
    record.time_utc = "2026-01-31T09:36:12Z";
    record.raw = capture::RawMeasurement{};
    CHECK_THAT(heading(record), !Contains("SIMULATED") && !Contains("INCOMPLETE"));
    record.raw->bench.simulated = true;
    record.complete = false;
    record.notes = {"as \x1b found"};
    CHECK_THAT(heading(record), Contains("SIMULATED BENCH") && Contains("INCOMPLETE") &&
                                    Contains("note: as ? found"));
    check_shape(heading(record));
}
