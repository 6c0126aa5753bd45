// SPDX-License-Identifier: MIT
#include "host/record/calibration_file.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::record;
using Catch::Contains;

namespace {

CalibrationFile example() {
    CalibrationFile file;
    file.bench_serial = 77;
    file.time_utc = "2026-01-31T09:36:12Z";
    file.points = {{ChannelId::supply_v, {0, 0.01}, {0.002, 1e-4}, "2026-01-31T09:30:00Z"},
                   {ChannelId::supply_v, {24, 0.02}, {1.93, 1e-4}, "2026-01-31T09:31:00Z"}};
    file.clock_relative = capture::Stated{12e-6, 1e-6};
    return file;
}

std::string replaced(std::string text, const std::string& from, const std::string& to) {
    const auto at = text.find(from);
    REQUIRE(at != std::string::npos);
    return text.replace(at, from.size(), to);
}

} // namespace

TEST_CASE("a calibration file comes back as it was, and gives the same results") {
    const TempFolder folder;
    const std::string path = folder.file("bench.json");
    REQUIRE(save_calibration(example(), path));
    const auto back = load_calibration(path);
    REQUIRE(back);
    CHECK(back.value().bench_serial == 77);
    REQUIRE(back.value().points.size() == 2);
    CHECK(back.value().points[1].truth.value == 24);
    CHECK(back.value().points[1].volts.u == 1e-4);
    CHECK(back.value().clock_relative->value == 12e-6);
    CHECK_FALSE(back.value().adc_reference_v);
    const auto results = results_of(back.value(), 1000);
    REQUIRE(results);
    REQUIRE(results.value().channels[2]);
    CHECK(results.value().channels[2]->gain.value == Approx((1.93 - 0.002) / (24 * 0.08)));
    CHECK_FALSE(results.value().channels[3]);
    CHECK(results.value().date_s == 1000);
}

TEST_CASE("a broken calibration file is told by key, with what was expected") {
    const std::string text = calibration_text(example());
    const std::vector<std::array<std::string, 3>> cases = {
        {"\"supply_v\"", "\"suply_v\"", "points[0].channel"},
        {"\"true_u\": 0.01", "\"true_u\": 0", "points[0].true_u"},
        {"\"bench_serial\": 77", "\"bench_serial\": -1", "bench_serial"},
        {"\"stored_utc\"", "\"stored_utcc\"", "stored_utcc"},
        {"\"schema\": 1", "\"schema\": 9", "schema"},
        {"\"kind\": \"calibration\"", "\"kind\": \"record\"", "kind"}};
    for (const auto& [from, to, key] : cases) {
        const auto read = calibration_from_text(replaced(text, from, to), "bench.json");
        CAPTURE(to);
        REQUIRE_FALSE(read);
        CHECK(read.error().kind == ErrorKind::kFile);
        CHECK_THAT(read.error().text,
                   Contains(key) && Contains("bench.json") &&
                       (Contains("expected") || Contains("knows schemas up to 1")));
    }
    CHECK_FALSE(calibration_from_text("{\"schema\": 1,", "bench.json"));
    CHECK_FALSE(calibration_from_text("", "bench.json"));
}

TEST_CASE("times are told as dates") {
    CHECK(seconds_of_utc("1970-01-02T00:00:01Z") == 86401u);
    CHECK(seconds_of_utc("2026-01-31T09:36:12Z") == 1769852172u);
    CHECK_FALSE(seconds_of_utc("2026-02-30T09:36:12Z"));
    CHECK_FALSE(seconds_of_utc("yesterday"));
    CHECK(date_of_seconds(1769852172u) == "2026-01-31");
}
