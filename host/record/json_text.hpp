// SPDX-License-Identifier: MIT
// JSON as text a person can leaf through: objects indented, arrays of plain values on one line (a
// capture has a hundred thousand of them).
#pragma once
#include <nlohmann/json_fwd.hpp>
#include <string>

namespace yokedock::record {

/// Ends with a newline. Bytes that are no UTF-8 are replaced.
[[nodiscard]] std::string json_text(const nlohmann::ordered_json& value);

} // namespace yokedock::record
