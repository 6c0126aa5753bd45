// SPDX-License-Identifier: MIT
// A board that the bench switched off: what may be judged of it.
#pragma once
#include "host/diagnose/diagnose.hpp"
#include "host/record/record.hpp"

namespace yokedock::record {

/// Takes out what was sampled round a trip: the supply comes and goes in it, so it shows no board
/// at work.
void drop_trip_samples(Record& record);

/// Evidence of how the start ended: trip, and start_rail_up, 1 or 0: whether the rail came up to
/// the profile's soft_start_min_v behind the soft-start resistor. Not measured where the start did
/// not get that far, or the profile states no such limit.
void add_start(const Record& record, const std::optional<Profile>& profile,
               diagnose::Evidence& evidence);

} // namespace yokedock::record
