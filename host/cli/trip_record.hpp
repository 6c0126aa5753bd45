// SPDX-License-Identifier: MIT
// What the bench kept of a trip is a record, too, but no measurement of a board.
#pragma once
#include "host/record/record.hpp"
#include <string>

namespace yokedock::cli {

/// A record kept of a trip (power_up.hpp): it names the trip, and has no samples but those round
/// it. Not a measurement that a trip cut off: what was sampled before is good.
[[nodiscard]] bool is_trip_record(const record::Record& record);

/// kFile error that says what to give, where the record of that file is a trip's.
[[nodiscard]] Status refuse_trip_record(const record::Record& record, const std::string& file);

} // namespace yokedock::cli
