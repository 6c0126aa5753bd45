// SPDX-License-Identifier: MIT
// docs/profile.md and the demonstration's profile against the tables and the board they speak of.
#include "host/record/profile_json.hpp"
#include "tests/unit/record/profile_page.hpp"
#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

using namespace yokedock::record;

namespace {

std::string file_text(const std::string& name) {
    std::ostringstream text;
    text << std::ifstream(YOKEDOCK_SOURCE_FOLDER "/" + name).rdbuf();
    return text.str();
}

} // namespace

TEST_CASE("docs/profile.md is what the key table says") {
    const std::string page = file_text("docs/profile.md");
    INFO("stale? cmake --build build/dev --target profile_page");
    CHECK((page == renewed_profile_page(page)));
}

TEST_CASE("the example in docs/profile.md is a good profile") {
    const std::string page = file_text("docs/profile.md");
    const std::string mark = "```json\n";
    const auto begin = page.find(mark) + mark.size();
    const auto checked =
        check_profile_text(page.substr(begin, page.find("```", begin) - begin), "page");
    REQUIRE(checked);
    for (const ProfileMistake& mistake : checked.value().mistakes) {
        UNSCOPED_INFO(mistake_text(mistake));
    }
    CHECK(checked.value().profile);
}

TEST_CASE("the demonstration's profile lists the parts of its board with the board's own values") {
    const auto profile =
        load_profile(YOKEDOCK_SOURCE_FOLDER "/demo/boards/quillwood13.profile.json");
    INFO((profile ? std::string() : profile.error().text));
    REQUIRE(profile);
    const auto board =
        nlohmann::json::parse(file_text("demo/boards/quillwood13.json")).at("parameters");
    constexpr struct {
        const char* designator;
        const char* parameter;
    } kSame[] = {
        {"C101", "/supply/reservoir_f"},
        {"IC101", "/supply/regulated_v"},
        {"R101", "/supply/filter_ohm"},
        {"C102", "/supply/decoupling_f"},
        {"R201", "/sync/source_ohm"},
        {"C201", "/sync/coupling_f"},
        {"R202", "/sync/bleed_ohm"},
        {"R203", "/sync/integrator_ohm"},
        {"C202", "/sync/integrator_f"},
        {"D201", "/sync/integrator_diode_v"},
        {"R204", "/sync/inject_ohm"},
        {"R205", "/sync/inject_shunt_ohm"},
        {"R206", "/sync/differentiator_ohm"},
        {"C203", "/sync/differentiator_f"},
        {"D301", "/vertical_oscillator/supply_v"},
        {"R301", "/vertical_oscillator/fixed_ohm"},
        {"C301", "/vertical_oscillator/capacitor_f"},
        {"R302", "/vertical_oscillator/discharge_ohm"},
        {"R311", "/ramp/fixed_ohm"},
        {"C311", "/ramp/upper_f"},
        {"C312", "/ramp/lower_f"},
        {"R401", "/vertical_output/sense_ohm"},
        {"C401", "/vertical_output/coupling_f"},
        {"R402", "/vertical_output/damping_ohm"},
        {"C402", "/vertical_output/boost_f"},
        {"R403", "/vertical_output/boost_charge_ohm"},
        {"L401", "/vertical_yoke/inductance_h"},
        {"R501", "/line_afc/shaper_ohm"},
        {"C501", "/line_afc/shaper_f"},
        {"R502", "/line_afc/detector_ohm"},
        {"R503", "/line_afc/leak_ohm"},
        {"C502", "/line_afc/filter_f"},
        {"R504", "/line_afc/lag_ohm"},
        {"C503", "/line_afc/lag_f"},
        {"D511", "/line_oscillator/reference_v"},
        {"R511", "/line_oscillator/fixed_ohm"},
        {"C511", "/line_oscillator/capacitor_f"},
        {"R512", "/line_oscillator/control_ohm"},
        {"C601", "/line_output/retrace_f"},
        {"C602", "/line_output/s_f"},
        {"L601", "/line_output/choke_h"},
        {"L602", "/line_yoke/inductance_h"},
    };
    for (const auto& row : kSame) {
        INFO(row.designator);
        const ProfilePart* part = nullptr;
        for (const ProfilePart& candidate : profile.value().parts) {
            part = candidate.designator == row.designator ? &candidate : part;
        }
        REQUIRE(part != nullptr);
        CHECK(part->value == board.at(nlohmann::json::json_pointer(row.parameter)).get<double>());
    }
    const auto value = [&](const char* pointer) {
        return board.at(nlohmann::json::json_pointer(pointer)).get<double>();
    };
    CHECK(profile.value().vertical_yoke.resistance_ohm == value("/vertical_yoke/resistance_ohm"));
    CHECK(profile.value().vertical_yoke.inductance_h == value("/vertical_yoke/inductance_h"));
    CHECK(profile.value().horizontal_yoke.resistance_ohm == value("/line_yoke/resistance_ohm"));
    CHECK(profile.value().horizontal_yoke.inductance_h == value("/line_yoke/inductance_h"));
    CHECK(profile.value().simulated);
    // Every section has a part: the diagnosis names designators in all of them.
    for (const SectionRow& section : kSections) {
        INFO(section.word);
        CHECK(
            std::any_of(profile.value().parts.begin(), profile.value().parts.end(),
                        [&](const ProfilePart& part) { return part.section == section.section; }));
    }
}
