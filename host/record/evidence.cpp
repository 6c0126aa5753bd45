// SPDX-License-Identifier: MIT
#include "host/record/evidence.hpp"
#include "host/diagnose/facts.hpp"
#include "host/record/free_rates.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::record {
namespace {

using diagnose::Evidence;
using diagnose::Scale;

double reference_value(const Evidence& e, const char* name) {
    const auto at = e.expected.find(name);
    return at == e.expected.end() ? 0 : std::abs(at->second.value);
}

/// Half band of a figure against a reference, in the figure's unit.
double reference_tolerance(const diagnose::Feature& feature, double value, const Evidence& e) {
    switch (feature.scale) {
    case Scale::kRatio:
        return feature.default_tolerance * std::abs(value);
    case Scale::kShareOfRail:
        return feature.default_tolerance * reference_value(e, "supply_v");
    case Scale::kShareOfSwing:
        return feature.default_tolerance *
               reference_value(e, feature.name[0] == 'v' ? "v_yoke_pp_a" : "h_yoke_pp_a");
    case Scale::kHeatRise:
        return feature.default_tolerance * std::max(0.0, value - diagnose::kRoomC);
    case Scale::kDifference:
    case Scale::kFlag:
        break;
    }
    return feature.default_tolerance;
}

/// Ratios first: the shares need them.
void add_reference(const diagnose::Catalogue& catalogue, const analysis::FigureSet& reference,
                   bool shares, Evidence& e) {
    for (const diagnose::Feature& feature : catalogue.features) {
        const bool share =
            feature.scale == Scale::kShareOfRail || feature.scale == Scale::kShareOfSwing;
        const analysis::Figure* f = analysis::find_figure(reference, feature.name);
        if (share == shares && f != nullptr && f->status == analysis::FigureStatus::kMeasured &&
            std::isfinite(f->value)) {
            e.expected[feature.name] = {
                f->value, std::hypot(reference_tolerance(feature, f->value, e), 2 * f->u)};
        }
    }
}

void expect_free_rates(const std::optional<Profile>& profile, Evidence& e) {
    const double field = profile ? nominal_field_rate_hz(*profile) : 0;
    const double line = profile ? nominal_line_rate_hz(*profile) : 0;
    if (field > 0) {
        e.expected.try_emplace(
            "v_free_rate_hz",
            diagnose::Expectation{(1 - kFieldFreeBelow) * field, kFieldFreeTolerance * field});
    }
    if (line > 0) {
        e.expected.try_emplace("h_free_rate_hz",
                               diagnose::Expectation{line, kLineFreeTolerance * line});
    }
}

/// An output stage that feeds its yoke through a capacitor stands at half its rail; the retrace
/// pulse and the knees of the transistors move the mean by some percent (common practice, no
/// source).
void expect_mid_rail(Evidence& e) {
    if (const double rail = reference_value(e, "supply_v"); rail > 0) {
        e.expected.try_emplace("v_out_level_v", diagnose::Expectation{0.52 * rail, 0.16 * rail});
    }
}

bool is_measured(const analysis::Figure* f) {
    return f != nullptr && f->status == analysis::FigureStatus::kMeasured;
}

/// An oscilloscope on the line output node sees itself what the bench has a peak detector and a
/// comparator for.
struct StandIn {
    const char* figure;  ///< of the bench, which the catalogue knows
    const char* of_node; ///< seen on the node
    bool same_quantity;  ///< may be set against what is expected of `figure`
};
constexpr StandIn kStandIns[] = {
    {"h_peak_v", "h_out_peak_v", true},
    {"h_retrace_pulse_us", "h_out_width_50_us", false}, // the comparator has another level
};

void use_stand_ins(Evidence& e) {
    for (const StandIn& row : kStandIns) {
        const analysis::Figure* node = analysis::find_figure(e.figures, row.of_node);
        const auto expected = e.expected.find(row.of_node);
        const bool known = expected != e.expected.end();
        if (is_measured(analysis::find_figure(e.figures, row.figure)) || !is_measured(node) ||
            (!known && !row.same_quantity)) {
            continue;
        }
        analysis::Figure seen = *node;
        seen.name = row.figure;
        if (known) {
            e.expected[row.figure] = expected->second;
        }
        e.figures.erase(std::remove_if(e.figures.begin(), e.figures.end(),
                                       [&](const auto& f) { return f.name == row.figure; }),
                        e.figures.end());
        e.figures.push_back(std::move(seen));
    }
}

} // namespace

Evidence evidence_from(const diagnose::Catalogue& catalogue, const analysis::FigureSet& figures,
                       const capture::Observation& observation,
                       const std::optional<Profile>& profile,
                       const analysis::FigureSet* reference) {
    Evidence e;
    e.figures = figures;
    e.free_run = !observation.sync_on && !observation.imported;
    if (e.free_run) { // the rate stays, too: sizes go with it
        for (const char* axis : {"v", "h"}) {
            const std::string name = std::string(axis) + "_rate_hz";
            if (const analysis::Figure* rate = analysis::find_figure(figures, name)) {
                e.figures.push_back(*rate);
                e.figures.back().name = std::string(axis) + "_free_rate_hz";
                e.figures.back().text += ", without sync";
            }
        }
    }
    if (profile) {
        for (const auto& [name, expected] : profile->expected) {
            e.expected[name] = {expected.value, expected.half_width()};
        }
        for (const ProfilePart& part : profile->parts) {
            e.parts.push_back({part.designator, word_of(part.section), word_of(part.role)});
        }
    }
    if (reference != nullptr) {
        add_reference(catalogue, *reference, false, e);
        add_reference(catalogue, *reference, true, e);
    }
    expect_free_rates(profile, e);
    expect_mid_rail(e);
    use_stand_ins(e);
    diagnose::add_facts(observation, e);
    return e;
}

} // namespace yokedock::record
