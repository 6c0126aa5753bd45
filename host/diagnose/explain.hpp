// SPDX-License-Identifier: MIT
// Deviations in words. Inside the module only.
#pragma once
#include "host/diagnose/diagnose.hpp"

namespace yokedock::diagnose {

/// Beyond 3 standard deviations of a good board, or a 0 where a good board shows 1.
[[nodiscard]] bool is_off(const Deviation& deviation);
/// "vertical retrace, 10 to 90 %: 880 us, expected 400 us".
[[nodiscard]] std::string deviation_text(const Deviation& deviation);
/// The same, with what the fault would make of it.
[[nodiscard]] std::string expected_text(const Deviation& deviation, const Effect& effect,
                                        double severity);
/// Which figures are off that others depend on, and what was done about it.
[[nodiscard]] std::vector<std::string> dependence_remarks(const std::vector<Deviation>& found);
/// The sections no fault of which moves any of these figures, or nothing where all have one.
[[nodiscard]] std::optional<std::string> unseen_remark(const Catalogue& catalogue,
                                                       const std::vector<Deviation>& found);

} // namespace yokedock::diagnose
