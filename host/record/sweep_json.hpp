// SPDX-License-Identifier: MIT
// The words of a lock sweep (host/lock/sweep_types.hpp) as JSON: the lines of a sweep log, and
// parts of the commands' --json output. docs/sweep.md describes the keys.
#pragma once
#include "host/lock/sweep_types.hpp"
#include "host/record/json_reader.hpp"

namespace yokedock::record {

[[nodiscard]] const char* axis_word(lock::SweepAxis axis);        ///< "vertical"
[[nodiscard]] const char* approach_word(lock::Approach approach); ///< "from_lock"
[[nodiscard]] const char* limit_word(lock::LimitStatus status);   ///< "found"

[[nodiscard]] nlohmann::ordered_json sweep_settings_to_json(const lock::SweepSettings& settings);
/// Complaints go to the node's context. Checked: what the search and the bench rely on, so that
/// low <= nominal <= high, steps above zero, and sync that a device with this clock can make.
[[nodiscard]] lock::SweepSettings sweep_settings_from_json(const Node& node,
                                                           std::uint32_t clock_hz);

/// Step and result in one flat object. acquired_s is null when lock was not timed.
[[nodiscard]] nlohmann::ordered_json step_result_to_json(const lock::StepResult& result);
/// Reads the keys of step_result_to_json; others are the caller's business.
[[nodiscard]] lock::StepResult step_result_from_json(const Node& node);

/// Without the settings: they stand in the header.
[[nodiscard]] nlohmann::ordered_json sweep_summary_to_json(const lock::SweepSummary& summary);
[[nodiscard]] lock::SweepSummary sweep_summary_from_json(const Node& node,
                                                         const lock::SweepSettings& settings);

} // namespace yokedock::record
