// SPDX-License-Identifier: MIT
#pragma once
#include "host/record/profile.hpp"
#include "shared/wire/messages.hpp"

namespace yokedock::cli {

/// "IC401 (vertical output, output IC)": the parts of this board that a cause points to first, in
/// order; none without a profile that lists them. Pure.
[[nodiscard]] std::vector<std::string> suspects(wire::StopCause cause,
                                                const record::Profile& profile);

} // namespace yokedock::cli
