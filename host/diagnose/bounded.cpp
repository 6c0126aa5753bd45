// SPDX-License-Identifier: MIT
#include "host/diagnose/bounded.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::diagnose {
namespace {

constexpr double kFarthest = 20; ///< times Feature::broad
constexpr double kMost = 1e12;   ///< no quantity of a board has such a number in its unit

bool good(const Expectation& x) {
    return std::abs(x.value) < kMost && x.tolerance >= 0 && x.tolerance < kMost;
}

bool good(const analysis::Figure& f) {
    return f.status != analysis::FigureStatus::kMeasured ||
           (std::isfinite(f.value) && f.u >= 0 && std::isfinite(f.u));
}

double expected_size(const Evidence& e, const std::string& name) {
    const auto at = e.expected.find(name);
    return at == e.expected.end() ? 0 : std::abs(at->second.value);
}

void bound(const Feature& feature, const Evidence& e, analysis::Figure& f) {
    const auto at = e.expected.find(feature.name);
    if (feature.scale == Scale::kFlag || at == e.expected.end()) {
        return;
    }
    const double value = at->second.value;
    double reach = kFarthest * feature.broad;
    switch (feature.scale) {
    case Scale::kRatio:
        reach = std::abs(value) * std::exp(std::min(reach, 25.0));
        break;
    case Scale::kShareOfSwing:
        reach *= expected_size(e, feature.name.substr(0, 2) + "yoke_pp_a");
        break;
    case Scale::kShareOfRail:
        reach *= expected_size(e, "supply_v");
        break;
    case Scale::kHeatRise:
        reach *= std::max(value - kRoomC, kLeastRiseC);
        break;
    case Scale::kDifference:
    case Scale::kFlag:
        break;
    }
    f.value = std::clamp(f.value, value - reach, value + reach);
    f.u = std::min(f.u, reach);
}

} // namespace

void bound(const Catalogue& catalogue, Evidence& e) {
    for (auto at = e.expected.begin(); at != e.expected.end();) {
        at = good(at->second) ? std::next(at) : e.expected.erase(at);
    }
    for (analysis::Figure& f : e.figures) {
        if (!good(f)) {
            f = analysis::not_measured(f.name, f.text, f.unit, "its value makes no sense");
        }
    }
    for (const Feature& feature : catalogue.features) {
        for (analysis::Figure& f : e.figures) {
            if (f.name == feature.name && f.status == analysis::FigureStatus::kMeasured) {
                bound(feature, e, f);
            }
        }
    }
}

} // namespace yokedock::diagnose
