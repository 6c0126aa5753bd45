// SPDX-License-Identifier: MIT
// Figures as JSON: the same objects in records and in the commands' --json output.
#pragma once
#include "host/analysis/figure.hpp"
#include "host/record/json_reader.hpp"

namespace yokedock::record {

[[nodiscard]] nlohmann::ordered_json figure_to_json(const analysis::Figure& figure);
/// Complaints go to the node's context.
[[nodiscard]] analysis::Figure figure_from_json(const Node& node);

[[nodiscard]] nlohmann::ordered_json figures_to_json(const analysis::FigureSet& figures);
/// Complaints go to the node's context.
[[nodiscard]] analysis::FigureSet figures_from_json(const Node& node);

} // namespace yokedock::record
