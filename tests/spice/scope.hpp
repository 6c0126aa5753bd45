// SPDX-License-Identifier: MIT
// Runs as an oscilloscope's owner would export them, and the figures that `import` makes of such a
// file.
#pragma once
#include "host/analysis/analyse.hpp"
#include "host/record/import.hpp"
#include "tests/spice/waves.hpp"
#include <string>

namespace yokedock::spice {

/// 20 us between samples on the field axis, 0.5 us on the line axis; columns time_s, v_yoke_a,
/// v_out_v, supply_v (or h_yoke_a, h_out_v, supply_v). 8-bit codes, half a code of noise: ramp and
/// node fill 80 % of their range, the rail lies at 80 % of one that begins at 0 V.
[[nodiscard]] std::string scope_csv(const Waves& waves, char axis, std::uint32_t seed);

/// What `yokedock import` with a nominal line or field rate reads from such a text (525/59.94, interlaced).
[[nodiscard]] Result<record::Import> import_scope(const std::string& csv, char axis);

/// Its figures; failed imports abort (the file is ours).
[[nodiscard]] analysis::FigureSet scope_figures(const std::string& csv, char axis);

} // namespace yokedock::spice
