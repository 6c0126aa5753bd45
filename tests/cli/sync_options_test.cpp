// SPDX-License-Identifier: MIT
#include "host/cli/exit_codes.hpp"
#include "host/cli/seams.hpp"
#include "host/cli/sync_options.hpp"
#include "host/record/csv.hpp"
#include "host/record/profile.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

using namespace yokedock;
using namespace yokedock::cli;
using Catch::Contains;

TEST_CASE("a decimal rate becomes an exact ratio") {
    const auto ratio = exact_ratio("15734.2657", "--line-rate-hz");
    REQUIRE(ratio);
    CHECK(ratio.value().numerator == 157342657);
    CHECK(ratio.value().denominator == 10000);
    CHECK(exact_ratio("15625", "x").value().denominator == 1);
    CHECK(exact_ratio("15625.50", "x").value().numerator == 31251);
    for (const char* bad : {"", ".", "1e4", "-5", "+5", "0", "0.0", "1.2.3", "15 625", "15,625",
                            "99999999999999999999999", "1.1234567", "nan", "15625Hz"}) {
        INFO(bad);
        CHECK_FALSE(exact_ratio(bad, "--line-rate-hz"));
    }
}

TEST_CASE("a standard gives its own settings and rates") {
    SyncOptions options;
    options.standard = "525/59.94";
    const auto sync = choose_sync(options, nullptr);
    REQUIRE(sync);
    CHECK(sync.value().standard == "525/59.94");
    CHECK(sync.value().settings.line_rate_denominator == 286);           // exactly 4.5 MHz / 286
    CHECK(sync.value().field_rate_hz == Approx(59.94006).epsilon(1e-7)); // SMPTE 170M
}

TEST_CASE("values by hand change a standard, and then it is called free") {
    SyncOptions options;
    options.standard = "625/50";
    options.line_rate_hz = "15500";
    options.positive = true;
    const auto sync = choose_sync(options, nullptr);
    REQUIRE(sync);
    CHECK(sync.value().standard == "free");
    CHECK(sync.value().settings.line_rate_numerator == 15500);
    CHECK(sync.value().settings.pre_pulses == 5);
    CHECK((sync.value().settings.flags & wire::kSyncCompositePositive) != 0);
}

TEST_CASE("free settings take the pulses of the standard that is built alike") {
    SyncOptions options;
    options.line_rate_hz = "15500";
    CHECK_FALSE(choose_sync(options, nullptr)); // lines are missing
    options.lines_per_field = 262.5;
    CHECK(choose_sync(options, nullptr).value().settings.pre_pulses == 6);
    options.lines_per_field = 264;
    const auto progressive = choose_sync(options, nullptr);
    REQUIRE(progressive);
    CHECK(progressive.value().settings.pre_pulses == 0);
    CHECK(progressive.value().settings.half_lines == 528);
}

TEST_CASE("a profile chooses the sync where no option does") {
    record::Profile profile;
    profile.standard = "312";
    CHECK(choose_sync({}, &profile).value().standard == "312");
    SyncOptions options;
    options.standard = "313";
    CHECK(choose_sync(options, &profile).value().standard == "313");
    profile.standard.clear();
    profile.line_rate_hz = 15700.5;
    profile.field_rate_hz = 59.81;
    const auto sync = choose_sync({}, &profile);
    REQUIRE(sync);
    CHECK(sync.value().line_rate_hz == 15700.5);
    CHECK(sync.value().settings.half_lines == 525); // 2 * 15700.5 / 59.81 = 525.01
}

TEST_CASE("the page on files has every exit code and column name, and its profile is a profile") {
    std::ifstream in(YOKEDOCK_SOURCE_FOLDER "/docs/record.md");
    std::ostringstream page;
    page << in.rdbuf();
#define X(name, code, text) CHECK_THAT(page.str(), Contains("| " #code " | " text " |"));
    YOKEDOCK_EXIT_CODES(X)
#undef X
    for (const std::string& name : record::csv_channel_names()) {
        CHECK_THAT(page.str(), Contains("`" + name + "`"));
    }
    const std::string mark = "```json\n";
    const auto begin = page.str().find(mark) + mark.size();
    const TempFolder folder;
    const auto profile = record::load_profile(
        folder.write("p.json", page.str().substr(begin, page.str().find("```", begin) - begin)));
    INFO((profile ? std::string() : profile.error().text));
    CHECK(profile);
}

TEST_CASE("nothing wrong in the options ever reaches a bench") {
    std::ostringstream out;
    std::ostringstream err;
    int opened = 0;
    Seams seams{out,
                err,
                false,
                false,
                {},
                [&](const std::string&) -> Result<bench::Bench> {
                    ++opened;
                    return Error{ErrorKind::kLink, "test"};
                },
                [] { return std::vector<link::SerialPortInfo>{}; },
                [] { return std::string("2026-01-31T09:36:12Z"); },
                [] { return 0.0; },
                [](const std::string&) { return std::string("picture"); }};
    const std::vector<std::vector<std::string>> wrong{
        {"measure", "--bench", "x", "--standard", "405"},
        {"measure", "--bench", "x", "--standard", "625/50", "--line-rate-hz", "9999"},
        {"measure", "--bench", "x", "--standard", "625/50", "--settle-s", "1e9"},
        {"measure", "--bench", "x", "--standard", "625/50", "--out", "/no/such/folder/r.json"},
        {"measure", "--bench", "x", "--standard", "625/50", "--profile", "/no/such.json"},
        {"run", "--bench", "x", "--standard", "625/50", "--duration-s", "nan"},
        {"run", "--bench", "x"},
    };
    for (const auto& arguments : wrong) {
        CHECK(run_yokedock(arguments, seams) != 0);
    }
    CHECK(opened == 0);
    CHECK_THAT(err.str(),
               !Contains("CAUTION")); // cautions come only right before a bench is spoken to
    CHECK(run_yokedock({"run", "--bench", "x", "--standard", "625/50", "--supply", "outside"},
                       seams) == 3);
    CHECK(opened == 1);
    CHECK_THAT(err.str(), Contains("CAUTION"));
    err.str("");
    CHECK(run_yokedock({"find"}, seams) == 3);
    CHECK_THAT(err.str(), Contains("no serial port") && Contains("yokedock_virtual_bench"));
}
