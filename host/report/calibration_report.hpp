// SPDX-License-Identifier: MIT
// What a bench's calibration says, as text and JSON. Pure.
#pragma once
#include "host/capture/calibration.hpp"
#include <string>

namespace yokedock::report {

/// A row per input and for clock, reference and trigger; what was not calibrated says so. Ends with
/// a newline.
[[nodiscard]] std::string calibration_table(std::uint32_t serial,
                                            const capture::Calibration& calibration);
[[nodiscard]] std::string calibration_json(std::uint32_t serial,
                                           const capture::Calibration& calibration);

/// One sentence for the head of every table: "NOT CALIBRATED: ..." or which inputs are, and since
/// when.
[[nodiscard]] std::string calibration_words(const capture::BenchInfo& bench);

} // namespace yokedock::report
