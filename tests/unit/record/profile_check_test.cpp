// SPDX-License-Identifier: MIT
// Every key of a profile, broken in every way: each mistake is told, with its line.
#include "host/record/figure_names.hpp"
#include "host/record/nearest.hpp"
#include "host/record/power_questions.hpp"
#include "host/record/profile_json.hpp"
#include "host/record/profile_keys.hpp"
#include "tests/unit/record/temp_folder.hpp"
#include <algorithm>
#include <catch2/catch.hpp>
#include <set>

using namespace yokedock;
using namespace yokedock::record;
using Catch::Contains;
using Json = nlohmann::ordered_json;
using Pointer = Json::json_pointer;

namespace {

/// Every key of the table at least once; two tests below hold it to that.
const char* const kWhole = R"({
  "schema": 2, "name": "Quillwood 13", "standard": "525/59.94",
  "line_rate_hz": 15734, "field_rate_hz": 59.9,
  "vertical": {"visible_from_us": 1300, "visible_to_us": 16500, "intended_s_q": 0.1},
  "horizontal": {"visible_from_us": 9.2, "visible_to_us": 62, "intended_s_q": 0.5},
  "live_to_mains": false, "own_line_output_transformer": true, "simulated": true,
  "limits": {"supply_min_v": 21, "supply_max_v": 27, "supply_max_a": 1.5, "soft_start_ms": 400,
    "soft_start_min_v": 10, "supply_idle_max_a": 0.7, "v_out_min_v": -2, "v_out_max_v": 60,
    "h_peak_max_v": 300, "heatsink_max_c": 90, "v_retrace_missing_ms": 50,
    "h_retrace_missing_ms": 1, "line_rate_min_hz": 14000},
  "yoke": {"vertical": {"inductance_h": 0.022, "resistance_ohm": 11, "tolerance_pct": 8},
    "horizontal": {"inductance_h": 0.00032, "resistance_ohm": 0.3, "tolerance_pct": 9}},
  "questions": [{"id": "plugs", "text": "Are the plugs on?"}],
  "expected": {"supply_v": {"value": 24, "tolerance_pct": 4},
    "v_yoke_pp_a": {"value": 0.8, "tolerance": 0.05, "basis": "spread", "boards": 4,
      "spread": 0.01}},
  "parts": [
    {"designator": "C401", "section": "vertical output", "role": "coupling capacitor",
     "value_f": 0.001, "tolerance_pct": 20, "type": "electrolytic", "rating_v": 35, "rating_a": 1,
     "rating_w": 0.5, "rating_c": 85, "replaced_on": ["2025-02-28", "2026-01-31"], "note": "n"},
    {"designator": "R401", "section": "vertical output", "role": "sense resistor", "value_ohm": 1},
    {"designator": "L401", "section": "vertical yoke", "role": "yoke coil", "value_h": 0.022},
    {"designator": "D301", "section": "ramp", "role": "reference diode", "value_v": 9}],
  "notes": ["a note"]})";

Json whole() {
    return Json::parse(kWhole);
}

std::vector<ProfileMistake> mistakes_in(const std::string& text) {
    const auto checked = check_profile_text(text, "p.json");
    INFO((checked ? std::string() : checked.error().text));
    REQUIRE(checked);
    CHECK(checked.value().profile.has_value() == checked.value().mistakes.empty());
    return checked.value().mistakes;
}

const ProfileMistake* find(const std::vector<ProfileMistake>& mistakes, const std::string& key) {
    const auto at = std::find_if(mistakes.begin(), mistakes.end(),
                                 [&](const ProfileMistake& m) { return m.key == key; });
    return at == mistakes.end() ? nullptr : &*at;
}

/// "/parts/0/designator" as the messages have it.
std::string dotted(const Pointer& pointer) {
    std::string out;
    for (Pointer rest = pointer; !rest.empty();) {
        std::string first = rest.to_string().substr(1);
        first = first.substr(0, first.find('/'));
        const bool index = first.find_first_not_of("0123456789") == std::string::npos;
        out += index ? '[' + first + ']' : (out.empty() ? "" : ".") + first;
        rest = Pointer(rest.to_string().substr(first.size() + 1));
    }
    return out;
}

/// The object's name in the key table.
std::string object_of(const Pointer& object) {
    const std::string path = dotted(object);
    if (path.rfind("expected.", 0) == 0) {
        return "expected.FIGURE";
    }
    const auto bracket = path.find('[');
    return bracket == std::string::npos ? path : path.substr(0, bracket) + "[]";
}

template <class Visit> void for_each_place(const Json& json, const Pointer& at, Visit visit) {
    if (json.is_structured()) {
        for (const auto& [key, value] : json.items()) {
            for_each_place(value, json.is_array() ? at / std::stoul(key) : at / key, visit);
        }
    }
    if (!at.empty()) {
        visit(at);
    }
}

/// The table's row for a place; nullptr for elements of arrays and names of figures.
const ProfileKey* row_of(const Pointer& at) {
    return find_profile_key(object_of(at.parent_pointer()), at.back());
}

/// Those that mean nothing alone or exclude each other.
bool is_tied(const std::string& key) {
    return key == "visible_from_us" || key == "visible_to_us" || key == "soft_start_ms" ||
           key == "tolerance" || key == "tolerance_pct" || key == "schema";
}

} // namespace

TEST_CASE("a profile with every key is good, and is written back the same") {
    CHECK(mistakes_in(kWhole).empty());
    std::set<const ProfileKey*> seen;
    const Json json = whole();
    for_each_place(json, Pointer(), [&](const Pointer& at) { seen.insert(row_of(at)); });
    for (const ProfileKey& row : profile_keys()) {
        INFO(row.object << " / " << row.key);
        CHECK(seen.count(&row) == 1);
    }
    const Profile profile = *check_profile_text(kWhole, "p.json").value().profile;
    CHECK(profile_to_json(profile).size() == json.size());
    Json written = profile_to_json(profile);
    Json expected = json;
    expected["expected"]["supply_v"]["basis"] = "stated"; // what was left out is written out
    CHECK(nlohmann::json(written) == nlohmann::json(expected));
}

TEST_CASE("every key left out is either missed, with its line, or not needed") {
    std::size_t needed = 0;
    for_each_place(whole(), Pointer(), [&](const Pointer& at) {
        const ProfileKey* row = row_of(at);
        if (row == nullptr) {
            return;
        }
        Json json = whole();
        json.at(at.parent_pointer()).erase(std::string(at.back()));
        const auto mistakes = mistakes_in(json.dump(1));
        INFO(dotted(at));
        if (row->required) {
            const ProfileMistake* mistake = find(mistakes, dotted(at));
            REQUIRE(mistake != nullptr);
            CHECK(mistake->is == "missing");
            CHECK_FALSE(mistake->expected.empty());
            ++needed;
        } else if (!is_tied(row->key)) {
            CHECK(mistakes.empty());
        }
    });
    CHECK(needed > 10);
}

TEST_CASE("a value of the wrong type anywhere is told with its key and line") {
    std::size_t places = 0;
    for_each_place(whole(), Pointer(), [&](const Pointer& at) {
        Json json = whole();
        const bool structure = json.at(at).is_structured();
        json[at] = structure ? Json("wrong") : Json{{"wrong", 1}};
        const std::string text = json.dump(1);
        const auto mistakes = mistakes_in(text);
        const ProfileMistake* mistake = find(mistakes, dotted(at));
        INFO(dotted(at));
        REQUIRE(mistake != nullptr);
        CHECK(mistake->is == (structure ? "\"wrong\"" : "an object"));
        // dump(1) puts each key and each element on a line of its own.
        const auto place = text.find("\"wrong\"");
        const auto line =
            1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(place), '\n');
        CHECK(mistake->line == line - (structure ? 0 : 1));
        ++places;
    });
    CHECK(places > 80);
}

TEST_CASE("a number beyond its range, as with a wrong prefix of its unit, is told with the range") {
    std::size_t numbers = 0;
    for_each_place(whole(), Pointer(), [&](const Pointer& at) {
        const ProfileKey* row = row_of(at);
        if (row == nullptr || row->type != KeyType::kNumber || std::string(row->key) == "schema" ||
            row->most >= 1e12) {
            return;
        }
        for (const double value : {row->least - 1e-3 - std::abs(row->least), row->most * 1.001}) {
            Json json = whole();
            json[at] = value;
            const auto mistakes = mistakes_in(json.dump(1));
            INFO(dotted(at) << " = " << value);
            const ProfileMistake* mistake = find(mistakes, dotted(at));
            REQUIRE(mistake != nullptr);
            CHECK_THAT(mistake->expected, Contains("a number from"));
            ++numbers;
        }
    });
    CHECK(numbers > 60);
}

TEST_CASE("an unknown key anywhere is a mistake, and the nearest known one is named") {
    for_each_place(whole(), Pointer(), [&](const Pointer& at) {
        const ProfileKey* row = row_of(at);
        if (row == nullptr || row->required || std::string(row->key).size() < 4) {
            return;
        }
        Json json = whole();
        Json& object = json.at(at.parent_pointer());
        std::string misspelt = row->key;
        std::swap(misspelt[1], misspelt[2]);
        if (misspelt == row->key) {
            misspelt.pop_back();
        }
        object[misspelt] = object.at(row->key);
        const auto mistakes = mistakes_in(json.dump(1));
        const std::string parent = dotted(at.parent_pointer());
        const ProfileMistake* mistake =
            find(mistakes, parent.empty() ? misspelt : parent + '.' + misspelt);
        INFO(dotted(at) << " as " << misspelt);
        REQUIRE(mistake != nullptr);
        CHECK(mistake->is == "an unknown key");
        CHECK_THAT(mistake->expected, Contains(row->key));
    });
    Json json = whole();
    json["qqqqqqqqqqqqqqqq"] = 1;
    CHECK_THAT(mistakes_in(json.dump())[0].expected, Contains("one of schema, name"));
}

TEST_CASE("a file cut off anywhere is refused with its line") {
    const std::string text = whole().dump(1);
    for (std::size_t size = 0; size < text.size(); size += 7) {
        const auto checked = check_profile_text(text.substr(0, size), "cut.json");
        REQUIRE_FALSE(checked);
        CHECK(checked.error().kind == ErrorKind::kFile);
        CHECK_THAT(checked.error().text, Contains("cut.json") && Contains("line"));
    }
}

TEST_CASE("what does not fit together is told") {
    const auto complaint = [](const char* pointer, const Json& value, const char* key) {
        Json json = whole();
        json[Pointer(pointer)] = value;
        const auto mistakes = mistakes_in(json.dump(1));
        INFO(pointer << " = " << value);
        const ProfileMistake* mistake = find(mistakes, key);
        REQUIRE(mistake != nullptr);
        return mistake_text(*mistake);
    };
    const auto at = [&](const char* pointer, const Json& value) {
        return complaint(pointer, value, dotted(Pointer(pointer)).c_str());
    };
    CHECK_THAT(complaint("/limits/supply_min_v", 28, "limits.supply_max_v"),
               Contains("more than supply_min_v, which is 28"));
    CHECK_THAT(at("/limits/supply_max_v", 23), Contains("a good board would trip"));
    CHECK_THAT(complaint("/limits/supply_idle_max_a", 1.6, "limits.supply_max_a"),
               Contains("more than supply_idle_max_a"));
    CHECK_THAT(complaint("/limits/v_out_min_v", 61, "limits.v_out_max_v"), Contains("more than"));
    CHECK_THAT(complaint("/limits/soft_start_ms", nullptr, "limits.soft_start_ms"),
               Contains("missing"));
    CHECK_THAT(at("/limits/v_retrace_missing_ms", 20), Contains("25.04"));    // 1.5 / 59.9 Hz
    CHECK_THAT(at("/limits/h_retrace_missing_ms", 0.09), Contains("0.0953")); // 1.5 / 15734 Hz
    CHECK_THAT(at("/limits/line_rate_min_hz", 15735), Contains("less than the line rate"));
    CHECK_THAT(at("/line_rate_hz", 18000), Contains("within 10 %"));
    CHECK_THAT(at("/standard", "405"), Contains("625/50"));
    CHECK_THAT(at("/vertical/visible_to_us", 2000), Contains("3300 to 51300"));
    CHECK_THAT(complaint("/expected/supply_v/tolerance", 1, "expected.supply_v"),
               Contains("both tolerance and tolerance_pct"));
    CHECK_THAT(complaint("/expected/supply_v/tolerance_pct", nullptr, "expected.supply_v"),
               Contains("without a tolerance"));
    CHECK_THAT(at("/expected/supply_v/basis", "guess"), Contains("stated, default or spread"));
    CHECK_THAT(at("/expected/v_yoke_pp_a/boards", 2.5), Contains("whole"));
    CHECK_THAT(complaint("/expected/supply_v/value", 0, "expected.supply_v.tolerance_pct"),
               Contains("a share of 0"));
    CHECK_THAT(complaint("/parts/0/designator", "R401", "parts[1].designator"),
               Contains("stands above already"));
    for (const char* wrong : {"c401", "401", "C", "ABCDE1", "C401AB", "C 401", "C123456"}) {
        CHECK_THAT(at("/parts/0/designator", wrong), Contains("C401, VR402"));
    }
    CHECK_THAT(at("/parts/0/role", "couping capacitor"), Contains("coupling capacitor perhaps"));
    CHECK_THAT(at("/parts/0/section", "vertical outptu"), Contains("vertical output perhaps"));
    CHECK_THAT(complaint("/parts/1/role", "boost capacitor", "parts[1].value_ohm"),
               Contains("value_f (in F)"));
    CHECK_THAT(at("/parts/1/value_f", 1e-6), Contains("one value per part"));
    CHECK_THAT(at("/parts/0/replaced_on/0", "2025-02-29"), Contains("calendar"));
    CHECK_THAT(at("/parts/0/replaced_on/0", "31.1.2025"), Contains("2026-01-31"));
    CHECK_THAT(at("/parts/0/replaced_on/1", "2024-02-29"), Contains("in order"));
    CHECK_THAT(at("/questions/0/id", "Plugs"), Contains("small letters"));
    CHECK_THAT(at("/questions/0/id", "pin_one"), Contains("taken"));
    CHECK_THAT(at("/questions/0/text", "two\nlines"), Contains("one line"));
    CHECK_THAT(at("/name", ""), Contains("empty"));
}

TEST_CASE("limits are confined to what the bench's channels can read, with room for their error") {
    // supply_v: 0.08 V per volt, 5 V full scale: 62.5 V, less 2 %. v_out_v: 1 V at 0, 0.04 V/V.
    CHECK(find_profile_key("limits", "supply_max_v")->most == Approx(61.25));
    CHECK(find_profile_key("limits", "v_out_max_v")->most == Approx((4.9 - 1) / 0.04));
    CHECK(find_profile_key("limits", "v_out_min_v")->least == Approx((0.1 - 1) / 0.04));
    CHECK(find_profile_key("limits", "h_peak_max_v")->most == Approx(490));
}

TEST_CASE("all mistakes are told, in the order of their lines") {
    Json json = whole();
    json["limits"]["supply_max_v"] = 240;
    json["parts"][3]["role"] = 5;
    json["naem"] = "x";
    json["expected"]["v_rate"] = Json{{"value", 60}, {"tolerance", 1}};
    const auto mistakes = mistakes_in(json.dump(1));
    REQUIRE(mistakes.size() == 4);
    CHECK(mistakes[0].key == "limits.supply_max_v");
    CHECK(mistakes[1].key == "expected.v_rate");
    CHECK_THAT(mistakes[1].expected, Contains("v_rate_hz perhaps"));
    CHECK(mistakes[2].key == "parts[3].role");
    CHECK(mistakes[3].key == "naem");
    CHECK(std::is_sorted(mistakes.begin(), mistakes.end(),
                         [](const auto& a, const auto& b) { return a.line < b.line; }));
    const TempFolder folder;
    const auto loaded = load_profile(folder.write("p.json", json.dump(1)));
    REQUIRE_FALSE(loaded);
    CHECK_THAT(loaded.error().text,
               Contains("4 mistakes") && Contains("naem") && Contains("supply_max_v is 240"));
}

TEST_CASE("a file of schema 1 is read with defaults; newer keys in it are told as such") {
    const char* old = R"({"schema": 1, "name": "x", "standard": "625/50",
        "vertical": {"visible_from_us": 1000, "visible_to_us": 18000, "intended_s_q": 0.2}})";
    const auto checked = check_profile_text(old, "old.json");
    REQUIRE(checked);
    REQUIRE(checked.value().profile);
    const Profile& profile = *checked.value().profile;
    CHECK_FALSE(profile.limits.supply_max_v);
    CHECK_FALSE(profile.live_to_mains);
    CHECK(profile.parts.empty());
    const auto mistakes = mistakes_in(R"({"schema": 1, "name": "x", "standard": "625/50",
        "limits": {}})");
    REQUIRE(mistakes.size() == 1);
    CHECK(mistakes[0].line == 2);
    CHECK_THAT(mistake_text(mistakes[0]), Contains("limits is a key of schema 2"));
}

TEST_CASE("questions: what is not stated is treated as dangerous, the profile's own come last") {
    const auto ids = [](const Profile& profile) {
        std::string out;
        for (const PowerQuestion& question : power_questions(profile)) {
            out += question.id + ' ';
        }
        return out;
    };
    Profile profile;
    CHECK_THAT(ids(profile), Contains("isolation_transformer") && Contains("tube_discharged"));
    profile.live_to_mains = false;
    CHECK_THAT(ids(profile), !Contains("isolation_transformer") && Contains("anode_lead"));
    profile.own_line_output_transformer = false;
    profile.questions = {{"plugs", "Are they on?"}};
    CHECK(ids(profile) == "parts_changed pin_one polarity no_bridges plugs ");
}

TEST_CASE("parts are found by section and role") {
    const Profile profile = *check_profile_text(kWhole, "p.json").value().profile;
    const auto found = find_parts(profile, Section::kVerticalOutput, PartRole::kCouplingCapacitor);
    REQUIRE(found.size() == 1);
    CHECK(found[0]->designator == "C401");
    CHECK(find_parts(profile, Section::kBoost, PartRole::kCouplingCapacitor).empty());
}

TEST_CASE("the distance of words counts the slips of a finger") {
    CHECK(word_distance("", "abc") == 3);
    CHECK(word_distance("abc", "abc") == 0);
    CHECK(word_distance("supply_max_v", "suply_max_v") == 1);
    CHECK(word_distance("name", "naem") == 1); // neighbours swapped
    CHECK(word_distance("kitten", "sitting") == 3);
    CHECK(nearest_word("zzzzzz", {"name", "schema"}).empty());
}

TEST_CASE("the names of figures are those of the analysis, each once, with its unit") {
    std::set<std::string> names;
    for (const auto& figure : known_figures()) {
        CHECK(names.insert(figure.name).second);
    }
    CHECK(names.size() > 60);
    CHECK(analysis::find_figure(known_figures(), "h_peak_v")->unit == "V");
}
