// SPDX-License-Identifier: MIT
#include "host/diagnose/doubt.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::diagnose {

void doubt_healthy(const Catalogue& catalogue, const Evidence& evidence, Diagnosis& diagnosis) {
    if (diagnosis.outcome != Outcome::kHealthy) {
        return;
    }
    for (const Deviation& d : deviations(catalogue, evidence)) {
        const bool far = std::abs(d.value) > kNoGoodBoard * d.sd;
        if (far && d.feature->root && d.feature->scale != Scale::kFlag) {
            diagnosis.outcome = Outcome::kUnclear;
            diagnosis.remarks.push_back(fmt::format(
                "{}: {:.4g} {}, expected {:.4g}: no good board shows that, and no fault of the "
                "catalogue; is this the profile of this board?",
                d.text, d.found, d.unit, d.expected));
        }
    }
}

} // namespace yokedock::diagnose
