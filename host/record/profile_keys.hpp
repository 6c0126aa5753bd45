// SPDX-License-Identifier: MIT
// The one table of a profile's keys: reader, unknown-key check, `profile new` and docs/profile.md
// are made from it.
#pragma once
#include "host/record/profile_limits.hpp"
#include <string>
#include <string_view>
#include <vector>

namespace yokedock::record {

enum class KeyType { kText, kNumber, kFlag, kObject, kList };

/// One key of one kind of object. Object names: "" the file itself, else the heading in the page.
struct ProfileKey {
    const char* object;
    const char* key;
    KeyType type;
    bool required;
    int since; ///< schema that brought it
    const char* unit;
    double least; ///< of numbers
    double most;
    const char* text;
};

[[nodiscard]] const std::vector<ProfileKey>& profile_keys();
/// nullptr when the object has no such key.
[[nodiscard]] const ProfileKey* find_profile_key(std::string_view object, std::string_view key);
/// The key of the object most like a misspelt one; "" when none is near.
[[nodiscard]] std::string nearest_profile_key(std::string_view object, std::string_view misspelt);
/// "a number from 1 to 61.25 V (rail above which ...)"
[[nodiscard]] std::string expectation_text(const ProfileKey& key);

/// The tables of docs/profile.md, Markdown.
[[nodiscard]] std::string profile_page_tables();

} // namespace yokedock::record
