// SPDX-License-Identifier: MIT
#include "host/diagnose/dissipation.hpp"
#include <cassert>

namespace yokedock::diagnose {
namespace {
constexpr double kInsideC = 50;
constexpr double kMarginK = 25;
} // namespace

Dissipation vertical_dissipation(const VerticalStage& stage) {
    const double peak = 0.5 * stage.current_pp_a;
    const double supply = stage.supply_v * (peak / 4 + stage.quiescent_a);
    const double load = peak * peak * stage.resistance_ohm / 3;
    return {supply, load, supply - load};
}

double most_thermal_resistance(double ic_w, double junction_limit_c) {
    assert(ic_w > 0);
    return (junction_limit_c - kMarginK - kInsideC) / ic_w;
}

} // namespace yokedock::diagnose
