// SPDX-License-Identifier: MIT
// Evidence from files that anybody may have written: nothing in it that a likelihood cannot bear.
#pragma once
#include "host/diagnose/diagnose.hpp"

namespace yokedock::diagnose {

/// A reading farther off than 20 times what is conceivable (Feature::broad) is taken for so far
/// off: it speaks against a good board, and for nothing. An uncertainty is bounded the same way.
/// Figures and expectations that are not finite, and uncertainties or tolerances below 0, are taken
/// for not measured and not known.
void bound(const Catalogue& catalogue, Evidence& evidence);

} // namespace yokedock::diagnose
