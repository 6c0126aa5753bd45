// SPDX-License-Identifier: MIT
// The parts of reading a profile. Inside the module only.
#pragma once
#include "host/record/keyed_object.hpp"
#include "host/record/profile.hpp"

namespace yokedock::record {

[[nodiscard]] std::vector<ProfilePart> parts_from_json(const KeyedObject& root);
[[nodiscard]] std::vector<ProfileQuestion> questions_from_json(const KeyedObject& root);
[[nodiscard]] std::map<std::string, ExpectedFigure> expected_from_json(const KeyedObject& root);

/// What no single key can tell: order of limits, limits against rates and expected figures.
void check_sanity(const Profile& profile, const KeyedObject& root);

/// A date of the calendar, "2026-01-31".
[[nodiscard]] bool is_date(const std::string& text);

} // namespace yokedock::record
