// SPDX-License-Identifier: MIT
// The list of faults in a board file:
//   "faults": [{"fault": "v_coupling_dried", "severity": 0.6},
//              {"fault": "h_joint_bad", "severity": 1, "intermittent": {"on_s": 2, "off_s": 5,
//              "seed": 1}},
//              {"fault": "afc_open", "severity": 1, "heat": {"from_c": 40, "to_c": 50}}]
// severity: 1 when not given. intermittent: mean times, seed 1 when not given. heat: of the heat
// sink; without it the fault's own, if it has one.
#pragma once
#include "demo/virtual_bench/board/faults.hpp"
#include <nlohmann/json_fwd.hpp>

namespace yokedock::sim {

/// Fits every fault of the list (null: none). Errors name the entry and key, what came and what was
/// expected: "faults[1].severity is 2; expected ...".
[[nodiscard]] Status fit_listed_faults(const nlohmann::json& list, FaultyBoard& board);

/// A JSON value in a few words, for messages; structures are not written out.
[[nodiscard]] std::string brief(const nlohmann::json& value);

} // namespace yokedock::sim
