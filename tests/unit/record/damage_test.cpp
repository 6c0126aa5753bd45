// SPDX-License-Identifier: MIT
// Records that are cut off, changed or not records at all: a clear error each time, never a crash.
#include "tests/unit/record/example_record.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace yokedock;
using namespace yokedock::record;
using Catch::Contains;
using Json = nlohmann::json;

namespace {

std::string complaint(const Json& json) {
    const Result<Record> result = from_json_text(json.dump(), "bad.json");
    REQUIRE_FALSE(result);
    CHECK(result.error().kind == ErrorKind::kFile);
    CHECK_THAT(result.error().text, Contains("bad.json"));
    return result.error().text;
}

Json example() {
    return Json::parse(to_json_text(example_record()));
}

/// Calls visit(pointer) for every value in the document.
template <class Visit>
void for_each_place(const Json& json, const Json::json_pointer& at, Visit visit) {
    if (json.is_structured()) {
        for (const auto& [key, value] : json.items()) {
            for_each_place(value, json.is_array() ? at / std::stoul(key) : at / key, visit);
        }
    }
    if (!at.empty()) {
        visit(at);
    }
}

} // namespace

TEST_CASE("a record cut off anywhere is refused with a line number") {
    const std::string whole = to_json_text(example_record());
    for (std::size_t size = 0; size + 2 < whole.size(); size += 37) {
        const Result<Record> result = from_json_text(whole.substr(0, size), "cut.json");
        REQUIRE_FALSE(result);
        CHECK_THAT(result.error().text, Contains("cut.json") && Contains("line"));
    }
}

TEST_CASE("a value of the wrong type anywhere is refused, naming its key") {
    for (const Json& original : {example(), Json::parse(to_json_text(example_import()))}) {
        std::size_t places = 0;
        for_each_place(original, Json::json_pointer(), [&](const Json::json_pointer& at) {
            // Words of the file that are read but not needed may be anything.
            if (at.to_string().find("/channel_scale/") != std::string::npos &&
                at.back() == "unit") {
                return;
            }
            Json changed = original;
            // An object in place of a plain value, a text in place of a structure: wrong for every
            // key.
            changed[at] = original.at(at).is_structured() ? Json("x") : Json::object();
            const Result<Record> result = from_json_text(changed.dump(), "bad.json");
            INFO(at.to_string());
            REQUIRE_FALSE(result);
            const std::string key = at.back();
            const bool index = key.find_first_not_of("0123456789") == std::string::npos;
            CHECK_THAT(result.error().text, Contains(index ? "[" + key + "]" : key));
            ++places;
        });
        CHECK(places > 30); // the walk really went through the document
    }
}

TEST_CASE("a missing key is refused by name") {
    for (const char* key : {"schema", "complete", "figures", "captures", "bench", "time_utc"}) {
        Json json = example();
        json.erase(key);
        CHECK_THAT(complaint(json), Contains(key) && Contains("missing"));
    }
}

TEST_CASE("a newer schema is refused naming both versions and the cure") {
    Json json = example();
    json["schema"] = 7;
    json["figures"] = "something unknown"; // the schema must be judged first
    CHECK_THAT(complaint(json),
               Contains("schema is 7") && Contains("up to 1") && Contains("update"));
    json["schema"] = 0;
    CHECK_THAT(complaint(json), Contains("schema"));
}

TEST_CASE("other JSON files are not taken for records") {
    CHECK_THAT(complaint(Json{{"schema", 1}, {"name", "a profile"}}),
               Contains("it looks like a profile"));
    CHECK_THAT(complaint(Json::array()), Contains("an array of 0, expected an object"));
    CHECK_THAT(complaint(Json(nullptr)), Contains("object"));
    CHECK_FALSE(from_json_text("time_s,v_yoke_a\n0,1\n", "a.csv"));
    CHECK_FALSE(from_json_text("", "empty.json"));
    CHECK_FALSE(from_json_text(std::string(1000, '\0'), "zero.json"));
    CHECK_FALSE(from_json_text("{\"schema\": 1e999}", "inf.json"));
    CHECK_FALSE(from_json_text(std::string(200000, '['), "deep.json"));
}

TEST_CASE("contents that a calculation would trip over are refused") {
    const auto changed = [](const std::string& pointer, const Json& value) {
        Json json = example();
        REQUIRE(json.contains(Json::json_pointer(pointer)));
        json[Json::json_pointer(pointer)] = value;
        return complaint(json);
    };
    CHECK_THAT(changed("/captures/0/plan/half_line_denominator", 0), Contains("denominator"));
    CHECK_THAT(changed("/captures/0/plan/half_line_ticks", 0), Contains("half_line_ticks"));
    CHECK_THAT(changed("/captures/0/samples/code/1", 1024),
               Contains("code[1]") && Contains("1023"));
    CHECK_THAT(changed("/captures/0/samples/channel/0", 8), Contains("channel[0]"));
    CHECK_THAT(changed("/captures/0/samples/code", Json{1, 2}),
               Contains("3 trigger_ticks and 2 code"));
    CHECK_THAT(changed("/captures/0/samples/trigger_ticks/2", 1), Contains("going back in time"));
    CHECK_THAT(changed("/captures/0/end_ticks", 1e300), Contains("end_ticks"));
    CHECK_THAT(changed("/captures/0/end_ticks", UINT64_MAX), Contains("end_ticks"));
    CHECK_THAT(changed("/captures/0/gaps/0/kind", "odd"), Contains("kind"));
    CHECK_THAT(changed("/bench/identity/clock_hz", 0), Contains("clock_hz"));
    CHECK_THAT(changed("/bench/channel_scale/supply_v/volts_per_unit", 0),
               Contains("volts_per_unit"));
    CHECK_THAT(changed("/captures/0/settings/adc_prescale_log2", 0), Contains("adc_prescale_log2"));
}

TEST_CASE("a file that cannot be a record is refused before it is read") {
    const TempFolder folder;
    CHECK_THAT(load_record(folder.file("none.json")).error().text, Contains("No such file"));
    CHECK_THAT(load_record(folder.path().string()).error().text, Contains("folder"));
    CHECK_THAT(load_record("/dev/null").error().text, Contains("device"));
    const std::string huge = folder.write("huge.json", "");
    std::filesystem::resize_file(huge, kMaxRecordBytes + 1); // sparse: takes no space
    CHECK_THAT(load_record(huge).error().text, Contains("536870913 bytes"));
}
