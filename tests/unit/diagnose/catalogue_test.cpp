// SPDX-License-Identifier: MIT
// The built-in catalogue is whole, and a broken one is told with its key.
#include "host/diagnose/dissipation.hpp"
#include "host/record/catalogue_file.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace yokedock;

namespace {

nlohmann::json built_in() {
    return nlohmann::json::parse(record::built_in_catalogue_text());
}

std::string complaint(const nlohmann::json& document) {
    const auto read = record::catalogue_from_text(document.dump(), "own.json");
    REQUIRE_FALSE(read);
    return read.error().text;
}

} // namespace

TEST_CASE("The built-in catalogue can be read, and every fault can be found by some check") {
    const auto catalogue = record::built_in_catalogue();
    if (!catalogue) {
        FAIL(catalogue.error().text);
    }
    CHECK(catalogue.value().faults.size() == 50);
    for (const auto& row : catalogue.value().faults) {
        INFO(row.id);
        bool found = false;
        for (const auto& check : catalogue.value().checks) {
            for (const std::string& id : check.finds) {
                found = found || id == row.id;
            }
        }
        CHECK(found);
    }
}

TEST_CASE("A broken catalogue is told with file, key and what was expected") {
    nlohmann::json c = built_in();
    c["faults"][3]["prioor"] = 1;
    CHECK_THAT(complaint(c), Catch::Contains("faults[3]") && Catch::Contains("prioor"));
    c = built_in();
    c["faults"][0]["section"] = "suply";
    CHECK(complaint(c).find("faults[0].section") != std::string::npos);
    c = built_in();
    c["faults"][0]["roles"][0] = "wheel";
    CHECK(complaint(c).find("faults[0].roles[0]") != std::string::npos);
    c = built_in();
    c["faults"][0]["figures"]["v_yoke_ppp_a"] = {{"low", 1}, {"high", 2}};
    CHECK(complaint(c).find("v_yoke_ppp_a") != std::string::npos);
    c = built_in();
    c["faults"][0]["figures"]["supply_v"]["low"] = -1;
    CHECK(complaint(c).find("faults[0].figures.supply_v.low") != std::string::npos);
    c = built_in();
    c["faults"][2]["checks"][0] = "guess";
    CHECK(complaint(c).find("guess") != std::string::npos);
    c = built_in();
    c["faults"][1]["id"] = c["faults"][0]["id"];
    CHECK(complaint(c).find("twice") != std::string::npos);
    c = built_in();
    c["checks"][0].erase("minutes");
    CHECK(complaint(c).find("checks[0]") != std::string::npos);
    c = built_in();
    c["schema"] = 99;
    CHECK(complaint(c).find("own.json") != std::string::npos);
}

TEST_CASE("A broken catalogue is told with the line of the key, in a file as a person writes it") {
    const std::string good = record::built_in_catalogue_text();
    const auto line_of = [](const std::string& text, std::size_t at) {
        return 1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n');
    };
    std::string text = good;
    const std::size_t at = text.find("\"boost\"", text.find("boost_cap_open"));
    text.replace(at, 7, "\"bost\"");
    const auto word = record::catalogue_from_text(text, "own.json");
    REQUIRE_FALSE(word);
    CHECK_THAT(
        word.error().text,
        Catch::Contains("own.json: line " + std::to_string(line_of(text, at)) + ": faults[") &&
            Catch::Contains("].section is \"bost\""));

    text = good;
    const std::size_t twice = text.find("\"prior\"", text.find("boost_cap_open"));
    text.insert(twice, "\"prior\": 3, ");
    const auto repeated = record::catalogue_from_text(text, "own.json");
    REQUIRE_FALSE(repeated);
    CHECK_THAT(repeated.error().text,
               Catch::Contains("line " + std::to_string(line_of(text, twice))) &&
                   Catch::Contains("given twice"));

    text = good.substr(0, good.size() / 2);
    const auto torn = record::catalogue_from_text(text, "own.json");
    REQUIRE_FALSE(torn);
    CHECK_THAT(torn.error().text,
               Catch::Contains("line " + std::to_string(line_of(text, text.size()))));
}

TEST_CASE("The heat of the vertical output is that of the data sheet's worked example") {
    // TDA4863J, application at 9 V and -8 V, 0.71 A peak, 6 ohm coil and 1 ohm sense resistor:
    // 3.2 W, 1.2 W, 2 W (from memory). They are printed with two digits: half of the last is 0.05.
    const auto heat = diagnose::vertical_dissipation({17, 2 * 0.71, 7, 0.01});
    CHECK(heat.supply_w == Approx(3.2).margin(0.05));
    CHECK(heat.load_w == Approx(1.2).margin(0.05));
    CHECK(heat.ic_w == Approx(2.0).margin(0.05));
}
