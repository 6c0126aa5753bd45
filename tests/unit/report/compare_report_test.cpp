// SPDX-License-Identifier: MIT
#include "host/report/compare_report.hpp"
#include "host/report/text.hpp"
#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>

using namespace yokedock;
using namespace yokedock::report;
using Catch::Contains;

namespace {

OverlayPlot two_ramps() {
    OverlayPlot plot;
    plot.title = "Vertical ramp";
    plot.x_label = "time after sync, ms";
    plot.y_label = "load current, A";
    plot.record_name = "it's after.json";
    plot.reference_name = "before.json";
    for (int i = 0; i <= 100; ++i) {
        const double x = i / 100.0;
        plot.record_x.push_back(x);
        plot.record_y.push_back(2 * x - 1);
        plot.reference_x.push_back(x);
        plot.reference_y.push_back(1 - 2 * x); // the other way round: they cross in the middle
        plot.difference_x.push_back(x);
        plot.difference_pct.push_back(100 * (2 * x - 1));
        plot.shape_pct.push_back(0);
    }
    return plot;
}

diagnose::Measurement measurement(const std::string& name, double size, const std::string& reason) {
    diagnose::Measurement m;
    m.name = name;
    m.under.bench = "bench 1";
    m.under.scale = {1};
    m.figures = {
        analysis::measured("v_yoke_pp_a", "vertical load current in the window, p-p", "A", size,
                           1e-3, 9, "m"),
        analysis::not_measured("h_retrace_us", "horizontal retrace, 10 to 90 %", "us", reason)};
    return m;
}

void check_lines(const std::string& text) {
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = text.find('\n', at);
        INFO(text.substr(at, end - at));
        REQUIRE(end != std::string::npos);
        CHECK(end - at <= kColumns);
        for (std::size_t i = at; i < end; ++i) {
            CHECK((text[i] >= ' ' && text[i] <= '~'));
        }
        at = end + 1;
    }
}

} // namespace

TEST_CASE("the overlay draws both ramps over one axis and the difference below") {
    const std::string text = terminal_plot(two_ramps());
    check_lines(text);
    const std::size_t top = text.find("         1 |");
    REQUIRE(top != std::string::npos);
    const std::string row = text.substr(top, text.find('\n', top) - top);
    // Highest: the reference at the begin, the record at the end.
    CHECK(row.find('o') < 20);
    CHECK(row.find('*') > 80);
    CHECK_THAT(text, Contains("% of peak to peak") && Contains("       100 |") &&
                         Contains("      -100 |"));
}

TEST_CASE("an overlay without common window draws the ramps alone, and one without ramps says so") {
    OverlayPlot plot = two_ramps();
    plot.difference_x.clear();
    plot.difference_pct.clear();
    plot.shape_pct.clear();
    CHECK(terminal_plot(plot).find("difference") == std::string::npos);
    CHECK_THAT(gnuplot_program({plot}, PictureFormat::kSvg), Contains("set multiplot next"));
    CHECK_THAT(terminal_plot(OverlayPlot{}), Contains("nothing to draw"));
}

TEST_CASE("names of files cannot break out of gnuplot's quotes") {
    const std::string program = gnuplot_program({two_ramps()}, PictureFormat::kPng);
    CHECK_THAT(program, Contains("'it''s after.json'") && Contains("pngcairo"));
}

TEST_CASE("the texts of a comparison keep to the width, whatever the files are called") {
    const std::string long_name(180, 'x');
    const auto c = diagnose::compare(measurement(long_name, 1.1, "no\x01ramp"),
                                     {measurement("good", 1, std::string(300, 'y'))});
    CHECK(c.verdict == diagnose::Verdict::kDifferent);
    for (const std::string& text : {compare_summary(c, long_name), compare_conditions(c),
                                    compare_ramps(c), compare_table(c)}) {
        check_lines(text);
    }
    CHECK_THAT(compare_table(c), Contains("* vertical load current") && Contains("different"));
    CHECK_THAT(compare_summary(c, "r"),
               Contains("DIFFERENT: r against good") && Contains("1.1 A, reference 1 (+10 %)"));
}

TEST_CASE("the JSON of a comparison has null, never a number, for what was not measured") {
    const auto c =
        diagnose::compare(measurement("r", 1.1, "no ramp"), {measurement("g", 1, "none")});
    const auto json = nlohmann::json::parse(compare_json(c, "r", {"a warning"}));
    CHECK(json["verdict"] == "different");
    CHECK(json["figures"][0]["difference"].get<double>() == Approx(0.1));
    CHECK(json["figures"][0]["freedoms"].is_null()); // many
    CHECK(json["figures"][1]["verdict"] == "not measured");
    for (const char* key : {"value", "reference", "difference", "u", "tolerance"}) {
        CHECK(json["figures"][1][key].is_null());
    }
    CHECK(json["ramps"][0]["verdict"] == "not measured");
    CHECK(json["warnings"][0] == "a warning");
}
