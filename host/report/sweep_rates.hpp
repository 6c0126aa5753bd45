// SPDX-License-Identifier: MIT
// How rates and limits of a sweep are put into words; shared by its table, bar and watch line.
// Inside the module only.
#pragma once
#include "host/lock/sweep_types.hpp"
#include <optional>
#include <string>

namespace yokedock::report {

/// A rate with as many decimals as the sweep resolves, without unit.
[[nodiscard]] std::string rate_text(double hz, const lock::SweepSettings& settings);

/// The free run that was measured, before or else after; nothing when neither was.
[[nodiscard]] std::optional<double> free_run_hz(const lock::SweepSummary& summary);

/// "57.50 to 66.00 Hz", "below 50.25 to 66.00 Hz", "none", "not measured".
[[nodiscard]] std::string range_text(const lock::Limit& low, const lock::Limit& high,
                                     const lock::SweepSettings& settings);

/// What is known about a rate: '=' locks, '.' does not, '?' was not measured.
[[nodiscard]] char range_mark(double hz, const lock::Limit& low, const lock::Limit& high,
                              const lock::SweepSettings& settings);

} // namespace yokedock::report
