// SPDX-License-Identifier: MIT
#include "host/record/profile_json.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::record;
using Catch::Contains;

namespace {

Result<Profile> load(const std::string& text) {
    const TempFolder folder;
    return load_profile(folder.write("p.json", text));
}

std::string complaint(const std::string& text) {
    const Result<Profile> profile = load(text);
    REQUIRE_FALSE(profile);
    CHECK(profile.error().kind == ErrorKind::kFile);
    CHECK_THAT(profile.error().text, Contains("p.json"));
    return profile.error().text;
}

} // namespace

TEST_CASE("a profile with a standard takes the rest from defaults") {
    const auto profile = load(R"({"schema": 1, "name": "Quillwood 13", "standard": "525/59.94"})");
    REQUIRE(profile);
    CHECK(profile.value().name == "Quillwood 13");
    CHECK_FALSE(profile.value().vertical.visible_us);
    CHECK_FALSE(profile.value().horizontal.visible_us);
}

TEST_CASE("a profile gives window and intended S per axis") {
    const auto profile =
        load(R"({"schema": 1, "name": "x", "line_rate_hz": 15750, "field_rate_hz": 60,
        "vertical": {"visible_from_us": 1000, "visible_to_us": 16000, "intended_s_q": 0.5}})");
    REQUIRE(profile);
    CHECK(profile.value().line_rate_hz == 15750);
    REQUIRE(profile.value().vertical.visible_us);
    CHECK(profile.value().vertical.visible_us->from == 1000);
    CHECK(profile.value().vertical.visible_us->to == 16000);
    CHECK(profile.value().vertical.intended_s_q == 0.5);
    CHECK(profile.value().horizontal.intended_s_q == 0);
}

TEST_CASE("a profile's mistakes are named by key") {
    CHECK_THAT(complaint("{}"), Contains("schema is missing"));
    CHECK_THAT(complaint(R"({"schema": 3, "name": "x"})"),
               Contains("schema is 3") && Contains("up to 2"));
    CHECK_THAT(complaint(R"({"schema": 1, "name": "x"})"), Contains("line_rate_hz is missing"));
    CHECK_THAT(complaint(R"({"schema": 1, "name": 3, "standard": "625/50"})"),
               Contains("name is 3"));
    CHECK_THAT(complaint(R"({"schema": 1, "name": "x", "standard": "405"})"),
               Contains("\"405\"") && Contains("625/50"));
    CHECK_THAT(
        complaint(R"({"schema": 1, "name": "x", "standard": "625/50", "line_rate_khz": 15})"),
        Contains("line_rate_khz") && Contains("line_rate_hz"));
    CHECK_THAT(
        complaint(R"({"schema": 1, "name": "x", "standard": "625/50", "line_rate_hz": 31469})"),
        Contains("line_rate_hz is 31469") && Contains("18000"));
    CHECK_THAT(complaint(R"({"schema": 1, "name": "x", "standard": "625/50",
                             "vertical": {"visible_from_us": 5000, "visible_to_us": 4000}})"),
               Contains("vertical.visible_to_us"));
    CHECK_THAT(complaint(R"({"schema": 1, "name": "x", "standard": "625/50",
                             "horizontal": {"visible_from_us": 9}})"),
               Contains("horizontal.visible_to_us is missing"));
    CHECK_THAT(complaint(R"({"schema": 1, "name": "x", "standard": "625/50", "vertical": 4})"),
               Contains("vertical is 4"));
    CHECK_THAT(complaint("not json"), Contains("not JSON"));
}

TEST_CASE("a profile written is read back the same") {
    const Profile before{"x", "625/50", 15625, 50, {{{1000, 18000}}, 0.1}, {{}, 0.5}};
    const auto after = load(profile_to_json(before).dump());
    REQUIRE(after);
    CHECK(profile_to_json(after.value()).dump() == profile_to_json(before).dump());
}
