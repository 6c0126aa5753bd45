// SPDX-License-Identifier: MIT
#include "host/diagnose/dissipation.hpp"
#include "host/report/diagnosis_report.hpp"
#include <cmath>
#include <cstdlib>
#include <fmt/format.h>

namespace yokedock::report {
namespace {

using record::PartRole;
using record::Section;

constexpr double kUsualJunctionC = 150;  ///< where the parts list does not rate the IC
constexpr double kCaseKelvinPerWatt = 4; ///< junction to sink of a power package, washer included;
                                         ///< common practice, no source

double value_of(const analysis::FigureSet& figures, const char* name) {
    const analysis::Figure* f = analysis::find_figure(figures, name);
    return f != nullptr && f->status == analysis::FigureStatus::kMeasured ? f->value : 0;
}

double sense_ohm(const record::Profile& profile) {
    const auto parts = find_parts(profile, Section::kVerticalOutput, PartRole::kSenseResistor);
    return parts.empty() ? 0 : parts.front()->value;
}

double junction_limit_c(const record::Profile& profile) {
    const auto parts = find_parts(profile, Section::kVerticalOutput, PartRole::kOutputIc);
    return parts.empty() || !parts.front()->rating_c ? kUsualJunctionC : *parts.front()->rating_c;
}

/// From a type like "25 K/W"; 0 when there is none.
double sink_kelvin_per_watt(const record::Profile& profile) {
    const auto parts = find_parts(profile, Section::kThermal, PartRole::kHeatSink);
    const bool told = !parts.empty() && parts.front()->type.find("K/W") != std::string::npos;
    return told ? std::strtod(parts.front()->type.c_str(), nullptr) : 0;
}

} // namespace

std::vector<std::string> heat_remarks(const analysis::FigureSet& figures,
                                      const std::optional<record::Profile>& profile) {
    const double rail = value_of(figures, "supply_v");
    const double current = value_of(figures, "v_yoke_pp_a");
    if (!(rail > 0) || !(current > 0) || !profile || !profile->vertical_yoke.resistance_ohm) {
        return {"heat of the vertical output: not known; it needs the rail, the vertical yoke "
                "current and the coil's resistance (profile: yoke.vertical.resistance_ohm)"};
    }
    const double ohm = *profile->vertical_yoke.resistance_ohm + sense_ohm(*profile);
    const diagnose::Dissipation heat = diagnose::vertical_dissipation({rail, current, ohm, 0.01});
    if (!(heat.ic_w > 0)) {
        return {fmt::format("heat of the vertical output: the load would take {:.2g} W of the "
                            "{:.2g} W from the rail: the coil's resistance in the profile does "
                            "not fit",
                            heat.load_w, heat.supply_w)};
    }
    const double most = diagnose::most_thermal_resistance(heat.ic_w, junction_limit_c(*profile));
    const double sink = sink_kelvin_per_watt(*profile);
    std::string text = fmt::format(
        "heat of the vertical output: {:.2g} W in the IC ({:.3g} V rail, {:.2g} A peak to peak, "
        "{:.3g} ohm); it bears {:.2g} K/W from junction to air",
        heat.ic_w, rail, current, ohm, most);
    if (!(sink > 0)) {
        return {text + "; the profile states no heat sink to judge by"};
    }
    const double all = sink + kCaseKelvinPerWatt;
    if (all > most) {
        return {fmt::format("WARNING, {}, and has about {:.2g} K/W: a new IC will die like the old "
                            "one; lower the rail or fit a larger heat sink first",
                            text, all)};
    }
    return {fmt::format("{}, and has about {:.2g} K/W", text, all)};
}

} // namespace yokedock::report
