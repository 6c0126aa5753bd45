// SPDX-License-Identifier: MIT
#include "host/record/profile_keys.hpp"
#include "host/record/nearest.hpp"
#include "host/record/part_roles.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

constexpr auto kText = KeyType::kText;
constexpr auto kNumber = KeyType::kNumber;
constexpr auto kFlag = KeyType::kFlag;
constexpr auto kObject = KeyType::kObject;
constexpr auto kList = KeyType::kList;

/// Beyond a quarter wave the current would turn back before the end of the trace.
constexpr double kMostIntendedSQ = 1.57;
constexpr double kLongestFieldUs = 50000;
constexpr double kLongestLineUs = 100;
constexpr double kAnything = 1e12;

const ProfileKey kRows[] = {
    {"", "schema", kNumber, true, 1, "", 1, 1e6, "2; files of schema 1 are read, too"},
    {"", "name", kText, true, 1, "", 0, 0, "of the board type"},
    {"", "standard", kText, false, 1, "", 0, 0,
     "sync standard by name; may be left out when both rates are given"},
    {"", "line_rate_hz", kNumber, false, 1, "Hz", sync::kMinLineRateMhz / 1000.0,
     sync::kMaxLineRateMhz / 1000.0, "line rate; left out: that of the standard"},
    {"", "field_rate_hz", kNumber, false, 1, "Hz", 10, 200,
     "field rate; left out: that of the standard"},
    {"", "vertical", kObject, false, 1, "", 0, 0, "what is visible, vertically"},
    {"", "horizontal", kObject, false, 1, "", 0, 0, "what is visible, horizontally"},
    {"", "live_to_mains", kFlag, false, 2, "", 0, 0,
     "the board's ground is tied to the mains; left out: treated as true"},
    {"", "own_line_output_transformer", kFlag, false, 2, "", 0, 0,
     "it makes its own high voltage; left out: treated as true"},
    {"", "simulated", kFlag, false, 2, "", 0, 0,
     "the expected figures come from the simulated bench and say nothing about real boards"},
    {"", "limits", kObject, false, 2, "", 0, 0, "what may not be exceeded"},
    {"", "yoke", kObject, false, 2, "", 0, 0, "the real yoke, as the load must be"},
    {"", "questions", kList, false, 2, "", 0, 0,
     "asked before a first power-up after work, besides those always asked"},
    {"", "expected", kObject, false, 2, "", 0, 0,
     "figure name to what a good board shows; the names are those of `yokedock analyse --json` "
     "and of a lock sweep (docs/diagnosis.md)"},
    {"", "parts", kList, false, 2, "", 0, 0, "parts list"},
    {"", "notes", kList, false, 2, "", 0, 0, "texts for the reader"},

    {"vertical", "visible_from_us", kNumber, false, 1, "us", -kLongestFieldUs / 2, kLongestFieldUs,
     "begin of the visible part, counted from the first pulse of the field's group"},
    {"vertical", "visible_to_us", kNumber, false, 1, "us", -kLongestFieldUs / 2,
     2 * kLongestFieldUs, "its end, at least 2000 us later"},
    {"vertical", "intended_s_q", kNumber, false, 1, "", 0, kMostIntendedSQ,
     "S-correction that is meant to be there: i = A sin(q x), x from -1 to 1 over the trace; 0 or "
     "left out: none"},
    {"horizontal", "visible_from_us", kNumber, false, 1, "us", -kLongestLineUs / 2, kLongestLineUs,
     "begin of the visible part, counted from the leading edge of line sync"},
    {"horizontal", "visible_to_us", kNumber, false, 1, "us", -kLongestLineUs / 2,
     2 * kLongestLineUs, "its end, at least 5 us later"},
    {"horizontal", "intended_s_q", kNumber, false, 1, "", 0, kMostIntendedSQ,
     "as for the vertical"},

#define X(key, unit, least, most, text)                                                            \
    {"limits", #key, kNumber, false, 2, unit, least, most, text},
    YOKEDOCK_PROFILE_LIMITS(X)
#undef X

        {"yoke", "vertical", kObject, false, 2, "", 0, 0, "vertical coil"},
    {"yoke", "horizontal", kObject, false, 2, "", 0, 0, "horizontal coil"},
    {"yoke.vertical", "inductance_h", kNumber, false, 2, "H", 1e-4, 0.5, "inductance"},
    {"yoke.vertical", "resistance_ohm", kNumber, false, 2, "ohm", 0.1, 200,
     "winding resistance, cold"},
    {"yoke.vertical", "tolerance_pct", kNumber, false, 2, "%", 0.1, 50,
     "of both; left out: 10 (common practice, no source)"},
    {"yoke.horizontal", "inductance_h", kNumber, false, 2, "H", 1e-5, 0.05, "inductance"},
    {"yoke.horizontal", "resistance_ohm", kNumber, false, 2, "ohm", 0.01, 60,
     "winding resistance, cold"},
    {"yoke.horizontal", "tolerance_pct", kNumber, false, 2, "%", 0.1, 50, "as for the vertical"},

    {"questions[]", "id", kText, true, 2, "", 0, 0,
     "word for `--confirm`: small letters, digits, _"},
    {"questions[]", "text", kText, true, 2, "", 0, 0, "the question; yes must be the safe answer"},

    {"expected.FIGURE", "value", kNumber, true, 2, "", -kAnything, kAnything,
     "what a good board shows, in the figure's unit"},
    {"expected.FIGURE", "tolerance", kNumber, false, 2, "", 0, kAnything,
     "half width of the band, in the figure's unit; this or tolerance_pct"},
    {"expected.FIGURE", "tolerance_pct", kNumber, false, 2, "%", 0.001, 200,
     "half width of the band, in % of the value"},
    {"expected.FIGURE", "basis", kText, false, 2, "", 0, 0,
     "where the tolerance is from: stated (left out: this), default (one board), spread (several)"},
    {"expected.FIGURE", "boards", kNumber, false, 2, "", 1, 10000,
     "number of boards it was learned from"},
    {"expected.FIGURE", "spread", kNumber, false, 2, "", 0, kAnything,
     "standard deviation between them, in the figure's unit"},

    {"parts[]", "designator", kText, true, 2, "", 0, 0, "as printed on the board: C401; unique"},
    {"parts[]", "section", kText, true, 2, "", 0, 0, "section of the board, see below"},
    {"parts[]", "role", kText, true, 2, "", 0, 0, "what it does there, see below"},
#define X(id, key, unit, least, most)                                                              \
    {"parts[]", key, kNumber, false, 2, unit, least, most, "value; the one that fits the role"},
    YOKEDOCK_PART_QUANTITIES(X)
#undef X
        {"parts[]", "tolerance_pct", kNumber, false, 2, "%", 0.01, 100, "of the value"},
    {"parts[]", "type", kText, false, 2, "", 0, 0, "of parts without a value"},
    {"parts[]", "rating_v", kNumber, false, 2, "V", 1, 50000, "voltage it may stand"},
    {"parts[]", "rating_a", kNumber, false, 2, "A", 1e-3, 100, "current it may carry"},
    {"parts[]", "rating_w", kNumber, false, 2, "W", 0.01, 1000, "power it may turn to heat"},
    {"parts[]", "rating_c", kNumber, false, 2, "degC", 40, 250, "temperature it may reach"},
    {"parts[]", "replaced_on", kList, false, 2, "", 0, 0, "dates it was replaced: 2026-01-31"},
    {"parts[]", "note", kText, false, 2, "", 0, 0, "for the reader"},
};

} // namespace

const std::vector<ProfileKey>& profile_keys() {
    static const std::vector<ProfileKey> keys(std::begin(kRows), std::end(kRows));
    return keys;
}

const ProfileKey* find_profile_key(std::string_view object, std::string_view key) {
    const auto& keys = profile_keys();
    const auto found = std::find_if(keys.begin(), keys.end(), [&](const ProfileKey& row) {
        return object == row.object && key == row.key;
    });
    return found == keys.end() ? nullptr : &*found;
}

std::string nearest_profile_key(std::string_view object, std::string_view misspelt) {
    std::vector<std::string> known;
    for (const ProfileKey& row : kRows) {
        if (object == row.object) {
            known.emplace_back(row.key);
        }
    }
    return nearest_word(misspelt, known);
}

std::string expectation_text(const ProfileKey& key) {
    switch (key.type) {
    case KeyType::kText:
        return fmt::format("a text ({})", key.text);
    case KeyType::kFlag:
        return fmt::format("true or false ({})", key.text);
    case KeyType::kObject:
        return fmt::format("an object ({})", key.text);
    case KeyType::kList:
        return fmt::format("an array ({})", key.text);
    case KeyType::kNumber:
        break;
    }
    const std::string unit = *key.unit == 0 ? "" : std::string(" ") + key.unit;
    if (key.most >= kAnything) {
        return fmt::format("a number{}{} ({})", key.least >= 0 ? " of at least 0" : "", unit,
                           key.text);
    }
    return fmt::format("a number from {:.6g} to {:.6g}{} ({})", key.least, key.most, unit,
                       key.text);
}

} // namespace yokedock::record
