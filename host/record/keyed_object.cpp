// SPDX-License-Identifier: MIT
#include "host/record/keyed_object.hpp"
#include <algorithm>
#include <cassert>
#include <cctype>
#include <fmt/format.h>

namespace yokedock::record {
namespace {

constexpr std::size_t kMostMembers = 2000;
constexpr std::size_t kLongestText = 200;

const ProfileKey& row_of(const char* object, const char* key) {
    const ProfileKey* row = find_profile_key(object, key);
    assert(row != nullptr);
    return *row;
}

} // namespace

KeyedObject::KeyedObject(Node node, const char* object, int schema)
    : node_(std::move(node)), object_(object), schema_(schema) {
    for (const auto& [key, value] : node_.members(kMostMembers)) {
        const ProfileKey* row = find_profile_key(object_, key);
        if (row == nullptr) {
            complain_of_unknown(key, value);
        } else if (row->since > schema_) {
            value.complain(
                fmt::format("a key of schema {} in a file of schema {}", row->since, schema_),
                fmt::format("no such key, or \"schema\": {}", row->since));
        }
    }
    if (!node_.is_object()) {
        return;
    }
    for (const ProfileKey& row : profile_keys()) {
        if (std::string_view(object_) == row.object && row.required && !node_.maybe(row.key)) {
            node_.absent(row.key).complain("missing", expectation_text(row));
        }
    }
}

void KeyedObject::complain_of_unknown(const std::string& key, const Node& value) const {
    if (const std::string near = nearest_profile_key(object_, key); !near.empty()) {
        value.complain("an unknown key", near + ", perhaps; docs/profile.md has them all");
        return;
    }
    std::string known;
    for (const ProfileKey& row : profile_keys()) {
        if (std::string_view(object_) == row.object && row.since <= schema_) {
            known += (known.empty() ? "" : ", ") + std::string(row.key);
        }
    }
    value.complain("an unknown key", "one of " + known);
}

std::optional<double> KeyedObject::number(const char* key) const {
    const ProfileKey& row = row_of(object_, key);
    const auto at = node_.maybe(key);
    return at ? at->number_or_complain(row.least, row.most, expectation_text(row)) : std::nullopt;
}

std::optional<std::string> KeyedObject::text(const char* key) const {
    const ProfileKey& row = row_of(object_, key);
    const auto at = node_.maybe(key);
    return at ? short_text(*at, expectation_text(row)) : std::nullopt;
}

std::optional<bool> KeyedObject::flag(const char* key) const {
    const ProfileKey& row = row_of(object_, key);
    const auto at = node_.maybe(key);
    return at ? at->flag_or_complain(expectation_text(row)) : std::nullopt;
}

std::optional<Node> KeyedObject::child(const char* key) const {
    (void)row_of(object_, key);
    return node_.maybe(key);
}

std::vector<Node> KeyedObject::list(const char* key, std::size_t most) const {
    const auto at = child(key);
    return at ? at->elements(most) : std::vector<Node>{};
}

Node KeyedObject::place(const char* key) const {
    const auto at = node_.maybe(key);
    return at ? *at : node_;
}

std::optional<std::string> short_text(const Node& node, const std::string& what) {
    const auto text = node.text_or_complain(what);
    if (!text) {
        return std::nullopt;
    }
    const bool control = std::any_of(text->begin(), text->end(), [](char c) {
        return std::iscntrl(static_cast<unsigned char>(c)) != 0;
    });
    if (text->empty() || text->size() > kLongestText || control) {
        node.complain(text->empty() ? "empty"
                      : control     ? node.in_words() + ", with a control character in it"
                                    : fmt::format("{} bytes long", text->size()),
                      fmt::format("one line of 1 to {} bytes: {}", kLongestText, what));
        return std::nullopt;
    }
    return text;
}

} // namespace yokedock::record
