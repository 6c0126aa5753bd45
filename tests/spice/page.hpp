// SPDX-License-Identifier: MIT
// The tables of docs/independent_check.md, made from runs.
#pragma once
#include "tests/spice/allowed.hpp"
#include "tests/spice/line_run.hpp"
#include "tests/spice/vertical_run.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::spice {

struct Row {
    char axis;
    std::string id;
    std::string change;
    double current_pct; ///< of peak to peak; 0 without a yoke current
    double node_pct;
    double retrace_spice_us; ///< 10 to 90 % of the yoke current
    double retrace_model_us;
    double pulse_spice_us; ///< output node above half-way to its peak
    double pulse_model_us;
    double peak_spice_v;
    double peak_model_v;
};

[[nodiscard]] Row make_row(char axis, const std::string& id, const std::string& change,
                           const Agreement& a);

/// Replaces what stands between "<!-- table v -->" (h) and "<!-- end -->" of the page. Throws
/// std::runtime_error when the page has no such lines or cannot be read or written.
void update_page(const std::string& path, const std::vector<Row>& rows);

/// The page's own row for a case.
[[nodiscard]] std::optional<Row> read_row(const std::string& path, char axis,
                                          const std::string& id);

} // namespace yokedock::spice
