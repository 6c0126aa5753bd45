// SPDX-License-Identifier: MIT
#include "host/diagnose/doubt.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::diagnose {

std::vector<std::string> doubts(const std::vector<Deviation>& found) {
    std::vector<std::string> out;
    for (const Deviation& d : found) {
        const bool far = std::abs(d.value) > kNoGoodBoard * d.sd;
        if (far && d.feature->root && d.feature->scale != Scale::kFlag) {
            out.push_back(fmt::format(
                "{}: {:.5g} {}, expected {:.5g}: hardly any good board shows that; look at it "
                "first. Is this the profile of this board?",
                d.text, d.found, d.unit, d.expected));
        }
    }
    return out;
}

} // namespace yokedock::diagnose
