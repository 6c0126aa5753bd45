// SPDX-License-Identifier: MIT
// A profile as a JSON object: a file of its own, or part of a record.
#pragma once
#include "host/record/json_reader.hpp"
#include "host/record/profile.hpp"

namespace yokedock::record {

[[nodiscard]] nlohmann::ordered_json profile_to_json(const Profile& profile);
/// Complaints go to the node's context.
[[nodiscard]] Profile profile_from_json(const Node& node, ReadContext& context);

} // namespace yokedock::record
