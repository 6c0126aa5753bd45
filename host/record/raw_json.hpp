// SPDX-License-Identifier: MIT
// The parts of a record that hold data: a bench's raw measurement, or imported samples. Inside the
// module only.
#pragma once
#include "host/record/figures_json.hpp"
#include "host/record/json_reader.hpp"
#include "host/record/record.hpp"

namespace yokedock::record {

[[nodiscard]] nlohmann::ordered_json bench_to_json(const capture::BenchInfo& bench);
[[nodiscard]] capture::BenchInfo bench_from_json(const Node& node);

[[nodiscard]] nlohmann::ordered_json capture_to_json(const capture::RawCapture& raw);
[[nodiscard]] capture::RawCapture capture_from_json(const Node& node);

[[nodiscard]] nlohmann::ordered_json observation_to_json(const capture::Observation& observation);
[[nodiscard]] capture::Observation observation_from_json(const Node& node);

/// No record holds more values of one kind than this; a larger count is damage.
constexpr std::size_t kMostValues = 20'000'000;

} // namespace yokedock::record
