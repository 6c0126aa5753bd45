// SPDX-License-Identifier: MIT
#include "host/record/nearest.hpp"
#include "host/record/profile_read.hpp"
#include <algorithm>
#include <cctype>
#include <fmt/format.h>
#include <set>

namespace yokedock::record {
namespace {

constexpr std::size_t kMostParts = 2000;
constexpr std::size_t kMostReplacements = 100;

bool is_designator(const std::string& text) {
    const auto is = [&](std::size_t i, int (*kind)(int)) {
        return i < text.size() && kind(static_cast<unsigned char>(text[i])) != 0;
    };
    std::size_t at = 0;
    while (is(at, std::isupper)) {
        ++at;
    }
    const std::size_t letters = at;
    while (is(at, std::isdigit)) {
        ++at;
    }
    const std::size_t digits = at - letters;
    at += is(at, std::isupper) ? 1u : 0u; // "C401A"
    return letters >= 1 && letters <= 4 && digits >= 1 && digits <= 5 && at == text.size();
}

/// The row of a table whose word this is; complains with the nearest word.
template <class Row, std::size_t n>
const Row* row_of(const KeyedObject& part, const char* key, const Row (&rows)[n]) {
    const auto word = part.text(key);
    if (!word) {
        return nullptr;
    }
    std::vector<std::string> known;
    std::string all;
    for (const Row& row : rows) {
        if (*word == row.word) {
            return &row;
        }
        known.emplace_back(row.word);
        all += (all.empty() ? "" : ", ") + std::string(row.word);
    }
    const std::string near = nearest_word(*word, known);
    part.place(key).complain(part.place(key).in_words(),
                             near.empty() ? "one of " + all
                                          : fmt::format("{} perhaps; all are {}", near, all));
    return nullptr;
}

void read_value(const KeyedObject& in, const RoleRow* role, ProfilePart& part) {
    const char* first = nullptr;
    for (const QuantityRow& row : kPartQuantities) {
        const auto value = in.number(row.key);
        if (!in.child(row.key)) {
            continue;
        }
        if (first != nullptr) {
            in.place(row.key).complain(fmt::format("a second value beside {}", first),
                                       "one value per part");
        } else if (role != nullptr && role->quantity != PartQuantity::kNone &&
                   role->quantity != row.quantity) {
            const auto fitting = std::find_if(
                std::begin(kPartQuantities), std::end(kPartQuantities),
                [&](const QuantityRow& other) { return other.quantity == role->quantity; });
            in.place(row.key).complain(fmt::format("the value of a {}", role->word),
                                       fmt::format("{} (in {})", fitting->key, fitting->unit));
        }
        first = row.key;
        part.quantity = row.quantity;
        part.value = value.value_or(0);
    }
}

void read_replacements(const KeyedObject& in, ProfilePart& part) {
    for (const Node& node : in.list("replaced_on", kMostReplacements)) {
        const auto date = node.text_or_complain("a date, like 2026-01-31");
        if (!date) {
            continue;
        }
        if (!is_date(*date)) {
            node.complain(node.in_words(), "a date of the calendar, like 2026-01-31");
        } else if (!part.replaced_on.empty() && *date < part.replaced_on.back()) {
            node.complain(node.in_words(), "dates in order, the latest last");
        } else {
            part.replaced_on.push_back(*date);
        }
    }
}

ProfilePart part_from_json(const KeyedObject& in) {
    ProfilePart part;
    part.designator = in.text("designator").value_or("");
    if (!part.designator.empty() && !is_designator(part.designator)) {
        in.place("designator")
            .complain(in.place("designator").in_words(),
                      "one to four capital letters, one to five digits, at most one letter more: "
                      "C401, VR402, Q501A");
    }
    if (const SectionRow* row = row_of(in, "section", kSections)) {
        part.section = row->section;
    }
    const RoleRow* role = row_of(in, "role", kPartRoles);
    if (role != nullptr) {
        part.role = role->role;
    }
    read_value(in, role, part);
    part.tolerance_pct = in.number("tolerance_pct");
    part.type = in.text("type").value_or("");
    part.rating_v = in.number("rating_v");
    part.rating_a = in.number("rating_a");
    part.rating_w = in.number("rating_w");
    part.rating_c = in.number("rating_c");
    part.note = in.text("note").value_or("");
    read_replacements(in, part);
    return part;
}

} // namespace

bool is_date(const std::string& text) {
    if (text.size() != 10) {
        return false;
    }
    for (std::size_t i = 0; i < text.size(); ++i) {
        const bool dash = i == 4 || i == 7;
        if (dash ? text[i] != '-' : std::isdigit(static_cast<unsigned char>(text[i])) == 0) {
            return false;
        }
    }
    const int year = std::stoi(text.substr(0, 4));
    const int month = std::stoi(text.substr(5, 2));
    const int day = std::stoi(text.substr(8, 2));
    constexpr int kDays[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return year >= 1950 && month >= 1 && month <= 12 && day >= 1 &&
           day <= kDays[month - 1] + (leap && month == 2 ? 1 : 0);
}

std::vector<ProfilePart> parts_from_json(const KeyedObject& root) {
    std::vector<ProfilePart> parts;
    std::set<std::string> seen;
    for (const Node& node : root.list("parts", kMostParts)) {
        const KeyedObject in(node, "parts[]", root.schema());
        parts.push_back(part_from_json(in));
        if (const std::string& name = parts.back().designator;
            !name.empty() && !seen.insert(name).second) {
            in.place("designator")
                .complain('"' + name + "\", which stands above already",
                          "another designator for each part");
        }
    }
    return parts;
}

} // namespace yokedock::record
