// SPDX-License-Identifier: MIT
// A profile for reading.
#pragma once
#include "host/record/profile.hpp"
#include <string>

namespace yokedock::report {

/// Everything in it, in groups, plain ASCII, at most kColumns wide; says which limits are not
/// stated. Ends with a newline.
[[nodiscard]] std::string profile_report(const record::Profile& profile);

/// Name, rates, how many of each: a few lines.
[[nodiscard]] std::string profile_heading(const record::Profile& profile);

/// "Not stated, so not guarded: ..."; "" when all limits are.
[[nodiscard]] std::string unguarded_text(const record::Profile& profile);

/// The table of expected figures; "" when there are none.
[[nodiscard]] std::string expected_table(const record::Profile& profile);

} // namespace yokedock::report
