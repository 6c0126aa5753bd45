// SPDX-License-Identifier: MIT
#include "tests/unit/diagnose/catalogue_page.hpp"
#include <fmt/format.h>

namespace yokedock::test {
namespace {

using diagnose::Effect;
using diagnose::Scale;

const char* kHead =
    R"(<!-- Made from host/diagnose/catalogue.json by the target catalogue_page; a test fails when it is stale. -->
# Catalogue of faults

What `yokedock diagnose` knows of faults, from slight to as bad as it gets: x is a factor on what is expected, + and - a
difference in the figure's unit, % of swing or of rail a difference as a share of the expected yoke current or rail, % of rise what is left of the expected
rise over the room, and "seen" the chance that a good board's sign is still there. (+-): either direction; (maybe): in half
of the cases, all such of a fault together. How it is used:
[diagnosis.md](diagnosis.md); how well it does: [fault_matrix.md](fault_matrix.md). Sizes are from circuit theory and
from independent circuit runs, as each row says. Many were derived anew after three training designs of the simulated board had shown
where a first estimate missed an effect; they were not fitted, and none has met a real board. `--catalogue FILE` takes another one, of the same form as
`host/diagnose/catalogue.json`.

)";

std::string size(const diagnose::Feature& feature, double value) {
    switch (feature.scale) {
    case Scale::kRatio:
        return fmt::format("x {:.3g}", value);
    case Scale::kDifference:
        return fmt::format("{:+.3g}", value);
    case Scale::kShareOfSwing:
        return fmt::format("{:+.3g} % of swing", 100 * value);
    case Scale::kShareOfRail:
        return fmt::format("{:+.3g} % of rail", 100 * value);
    case Scale::kHeatRise:
        return fmt::format("{:.0f} % of rise", 100 * value);
    case Scale::kFlag:
        break;
    }
    return fmt::format("seen {:.0f} %", 100 * value);
}

std::string effect_text(const diagnose::Feature& feature, const Effect& e) {
    std::string out = fmt::format("`{}` {}", feature.name, size(feature, e.low));
    if (e.mid) {
        out += ", " + size(feature, *e.mid);
    }
    if (e.high != e.low) {
        out += " to " + size(feature, e.high);
    }
    return out + (e.either_sign ? " (+-)" : "") + (e.maybe ? " (maybe)" : "");
}

template <class T, class Text> std::string joined(const T& list, Text text) {
    std::string out;
    for (const auto& one : list) {
        out += (out.empty() ? "" : "; ") + text(one);
    }
    return out;
}

std::string row_text(const diagnose::Catalogue& catalogue, const diagnose::FaultRow& row) {
    const auto same = [](const std::string& word) { return word; };
    std::string out = fmt::format("**`{}`** {} ({}). Parts: {}.", row.id, row.text, row.section,
                                  joined(row.roles, same));
    std::string effects;
    for (const diagnose::Feature& feature : catalogue.features) {
        const auto at = row.figures.find(feature.name);
        if (at != row.figures.end()) {
            effects += (effects.empty() ? "" : "; ") + effect_text(feature, at->second);
        }
    }
    out += fmt::format("\nBecause: {}.\nMoves: {}.", row.derivation, effects);
    if (!row.trips.empty()) {
        out += " Trips: " + joined(row.trips, same) + ".";
    }
    if (row.comes_with_heat) {
        out += " Comes with heat.";
    }
    if (!row.mistaken_for.empty()) {
        out += "\nMistaken for: " + joined(row.mistaken_for, same) + ".";
    }
    return out + " Checks: " + joined(row.checks, same) + ".\n\n";
}

} // namespace

std::string catalogue_page(const diagnose::Catalogue& catalogue) {
    std::string out = kHead;
    for (const diagnose::FaultRow& row : catalogue.faults) {
        out += row_text(catalogue, row);
    }
    out += "## Checks\n\n| check | minutes | what to do | shows |\n|---|---|---|---|\n";
    for (const diagnose::Check& check : catalogue.checks) {
        out += fmt::format("| `{}` | {:g} | {} | {} |\n", check.id, check.minutes, check.text,
                           joined(check.finds, [](const std::string& w) { return "`" + w + "`"; }));
    }
    return out;
}

} // namespace yokedock::test
