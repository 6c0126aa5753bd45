// SPDX-License-Identifier: MIT
#include "host/cli/trip_record.hpp"
#include "host/capture/supply_readings.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::cli {

bool is_trip_record(const record::Record& record) {
    if (!record.power || !record.power->trip || !record.raw) {
        return false;
    }
    // A trip of the start may have left no samples; beside those of a trip lies at most what the
    // live readings were cut off in.
    const auto& captures = record.raw->captures;
    return captures.empty() ||
           std::any_of(captures.begin(), captures.end(), [](const capture::RawCapture& capture) {
               return capture.purpose == capture::kTripPurpose;
           });
}

Status refuse_trip_record(const record::Record& record, const std::string& file) {
    if (!is_trip_record(record)) {
        return Done{};
    }
    return Error{ErrorKind::kFile,
                 fmt::format("{0} is what was kept of a trip, expected a measurement of a board: "
                             "its samples are those of a supply that comes and goes; give a record "
                             "of yokedock measure (yokedock diagnose {0} tells what the trip says "
                             "of the board)",
                             file)};
}

} // namespace yokedock::cli
