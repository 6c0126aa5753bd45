// SPDX-License-Identifier: MIT
#include "host/diagnose/explain.hpp"
#include "host/diagnose/likelihood.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <map>

namespace yokedock::diagnose {
namespace {

std::string with_unit(double value, const std::string& unit) {
    return unit.empty() ? fmt::format("{:.5g}", value) : fmt::format("{:.5g} {}", value, unit);
}

constexpr double kNoRail = 0.3; ///< of the expected rail

const Deviation* find(const std::vector<Deviation>& found, const char* name) {
    for (const Deviation& d : found) {
        if (d.feature->name == name) {
            return &d;
        }
    }
    return nullptr;
}

} // namespace

bool is_off(const Deviation& d) {
    return d.feature->scale == Scale::kFlag ? d.value < 0.5 : std::abs(d.value) > 3 * d.sd;
}

std::string deviation_text(const Deviation& d) {
    if (d.feature->scale == Scale::kFlag) {
        return d.text + (d.value > 0.5 ? ": yes" : ": no");
    }
    return fmt::format("{}: {}, expected {}", d.text, with_unit(d.found, d.unit),
                       with_unit(d.expected, d.unit));
}

std::string expected_text(const Deviation& d, const Effect& effect, double severity) {
    const double p = predicted(*d.feature, effect, severity);
    switch (d.feature->scale) {
    case Scale::kFlag:
        return deviation_text(d);
    case Scale::kRatio:
        return fmt::format("{}; it should be about {:.2g} times that", deviation_text(d),
                           std::exp(p));
    case Scale::kDifference:
        return fmt::format("{}; it should be {} by about {}", deviation_text(d),
                           effect.either_sign ? "off" : (p < 0 ? "less" : "more"),
                           with_unit(std::abs(p), d.unit));
    case Scale::kHeatRise:
        return fmt::format("{}; its rise over the room should be about {:.0f} % of that",
                           deviation_text(d), 100 * (1 + p));
    case Scale::kShareOfSwing:
    case Scale::kShareOfRail:
        break;
    }
    return deviation_text(d) + "; it should have moved otherwise";
}

std::vector<std::string> dependence_remarks(const std::vector<Deviation>& found) {
    std::vector<std::string> out;
    const Deviation* rail = find(found, "supply_v");
    if (rail != nullptr && rail->expected > 0 && rail->found < kNoRail * rail->expected) {
        out.push_back(fmt::format("there is no rail to speak of ({}): find out why before "
                                  "anything else; no figure of a board without supply says more",
                                  deviation_text(*rail)));
    } else if (rail != nullptr && is_off(*rail)) {
        out.push_back(fmt::format("the rail is off ({}): it is judged first, and what rides on it "
                                  "is judged relative to the rail that was measured",
                                  deviation_text(*rail)));
    }
    for (const char* name : {"v_locked", "h_locked"}) {
        const Deviation* lock = find(found, name);
        if (lock != nullptr && lock->value < 0.5) {
            out.push_back(fmt::format("{} axis not locked to sync: its phase, jitter and fold-over "
                                      "say nothing; its size is judged relative to its rate",
                                      name[0] == 'v' ? "vertical" : "horizontal"));
        }
    }
    return out;
}

std::optional<std::string> unseen_remark(const Catalogue& catalogue,
                                         const std::vector<Deviation>& found) {
    std::map<std::string, bool> seen;
    for (const FaultRow& row : catalogue.faults) {
        seen[row.section] |= std::any_of(found.begin(), found.end(), [&](const Deviation& d) {
            return row.figures.count(d.feature->name) > 0;
        });
    }
    std::string sections;
    for (const auto& [section, shows] : seen) {
        if (!shows) {
            sections += (sections.empty() ? "" : ", ") + section;
        }
    }
    if (sections.empty()) {
        return std::nullopt;
    }
    return "not judged, for no figure was measured in which its faults show: " + sections;
}

} // namespace yokedock::diagnose
