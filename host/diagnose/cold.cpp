// SPDX-License-Identifier: MIT
#include "host/diagnose/diagnose.hpp"

namespace yokedock::diagnose {

void add_cold(Evidence& evidence, Evidence cold) {
    cold.cold.clear();
    evidence.cold.assign(1, std::move(cold));
}

} // namespace yokedock::diagnose
