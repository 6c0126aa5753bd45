// SPDX-License-Identifier: MIT
// Figures against their expectation, in the order of dependence: what rides on the rail is judged
// relative to the rail that was measured, what rides on the rate relative to that, and what needs
// lock not at all without it.
#include "host/diagnose/diagnose.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::diagnose {
namespace {

constexpr double kLeastRatio = 0.02; ///< a value at or below 0 counts as this share
constexpr double kRateOfOwn = 0.01;  ///< ln: beyond what an oscilloscope's time base is off
constexpr double kOtherRate = 0.1;   ///< ln: the windows of a record are those of sync

const analysis::Figure* measured_figure(const Evidence& e, const std::string& name) {
    const analysis::Figure* f = analysis::find_figure(e.figures, name);
    const bool good =
        f != nullptr && f->status == analysis::FigureStatus::kMeasured && std::isfinite(f->value);
    return good ? f : nullptr;
}

const Expectation* expected_of(const Evidence& e, const std::string& name) {
    const auto at = e.expected.find(name);
    return at == e.expected.end() ? nullptr : &at->second;
}

/// ln(measured / expected); 0 when either is missing or not positive.
double log_ratio(const Evidence& e, const std::string& name) {
    const analysis::Figure* f = measured_figure(e, name);
    const Expectation* x = expected_of(e, name);
    return f != nullptr && x != nullptr && f->value > 0 && x->value > 0
               ? std::log(f->value / x->value)
               : 0;
}

/// Without sync no axis is. Where nobody can tell (an oscilloscope's file without sync) a rate that
/// is off the expected one tells: a locked board has the rate of its sync.
bool locked(const Evidence& e, const std::string& axis) {
    const analysis::Figure* f = measured_figure(e, axis + "_locked");
    return f != nullptr ? f->value > 0.5
                        : !e.free_run && std::abs(log_ratio(e, axis + "_rate_hz")) < kRateOfOwn;
}

/// Nobody can tell whether it is locked. axis: "v_" or "h_".
bool without_pulses(const Evidence& e, const std::string& axis) {
    const analysis::Figure* seen = measured_figure(e, axis + "pulses_seen");
    return seen != nullptr && seen->value < 0.5;
}

/// What a share is a share of; 0 when it is not known.
double unit_of_scale(const Evidence& e, const Feature& feature) {
    const std::string axis = feature.name.substr(0, 1);
    const Expectation* x = nullptr;
    switch (feature.scale) {
    case Scale::kShareOfSwing:
        x = expected_of(e, axis + "_yoke_pp_a");
        break;
    case Scale::kShareOfRail:
        x = expected_of(e, "supply_v");
        break;
    case Scale::kRatio:
        x = expected_of(e, feature.name);
        break;
    case Scale::kHeatRise:
        x = expected_of(e, feature.name);
        return x == nullptr || x->value < kRoomC + kLeastRiseC ? 0 : x->value - kRoomC;
    case Scale::kDifference:
    case Scale::kFlag:
        return 1;
    }
    return x == nullptr ? 0 : std::abs(x->value);
}

/// Takes out what the rail and the rate explain, and adds the doubt of it.
void relate(const Evidence& e, const Feature& feature, Deviation& d) {
    const double rail = log_ratio(e, "supply_v");
    const double middle = 0.5 * (feature.rail_power_low + feature.rail_power_high);
    const double half = 0.5 * (feature.rail_power_high - feature.rail_power_low);
    const double rate = log_ratio(e, feature.name.substr(0, 1) + "_rate_hz");
    d.value -= middle * rail + feature.rate_power * rate;
    d.sd = std::hypot(d.sd, half * rail, 0.3 * feature.rate_power * rate);
    // Off sync the windows, and with them shapes and sizes, are other ones.
    const std::string axis = feature.name.substr(0, 2);
    const bool of_axis = axis == "v_" || axis == "h_";
    const bool is_rate = feature.name.find("rate_hz") != std::string::npos;
    if (of_axis && !is_rate && !locked(e, axis.substr(0, 1))) {
        d.sd = std::hypot(d.sd, feature.broad);
    } else if (of_axis && !is_rate && without_pulses(e, axis)) {
        d.sd = std::hypot(d.sd, 0.5 * feature.broad); // no pulses, no telling
    }
    // What the vertical stage draws, and its heat, go with its size, and that with its rate: a
    // fourth to a half of it, so up to a third of the rate's change.
    if (feature.name == "supply_a" || feature.name == "heatsink_c") {
        d.sd = std::hypot(d.sd, 0.3 * log_ratio(e, "v_rate_hz"), locked(e, "v") ? 0.0 : 0.03);
    }
    // A rail beyond 5 % off bends what hangs on it in ways of its own; by a third it says nothing.
    if (!feature.root) {
        const double doubt = 3 * std::max(0.0, std::abs(rail) - 0.05);
        d.sd = std::hypot(d.sd, std::min(doubt, 1.0) * feature.broad);
    }
}

/// A board that is not locked runs free: its rate stands in for one that was not measured without
/// sync (it is pulled a little: half a percent more doubt is far below what tolerances leave).
const analysis::Figure* figure_for(const Evidence& e, const Feature& feature) {
    const analysis::Figure* f = measured_figure(e, feature.name);
    const std::string axis = feature.name.substr(0, 1);
    return f == nullptr && feature.name == axis + "_free_rate_hz" && !locked(e, axis)
               ? measured_figure(e, axis + "_rate_hz")
               : f;
}

/// Without current in the yoke there is no ramp: what was fitted to noise and to the stage's own
/// residue has a shape that says nothing of what shaped ramps.
bool shape_of_nothing(const Evidence& e, const Feature& feature) {
    const std::string axis = feature.name.substr(0, 1);
    const analysis::Figure* seen = measured_figure(e, axis + "_current_seen");
    return seen != nullptr && seen->value < 0.5 && feature.name != axis + "_yoke_pp_a" &&
           (feature.name.rfind(axis + "_yoke_", 0) == 0 || feature.name == axis + "_retrace_us");
}

/// Shapes and sizes of a field or line of quite another length are those of another window.
bool at_another_rate(const Evidence& e, const Feature& feature) {
    const std::string axis = feature.name.substr(0, 1);
    const bool of_axis = feature.name.rfind(axis + "_", 0) == 0 && (axis == "v" || axis == "h");
    const bool is_rate = feature.name.find("_rate_hz") != std::string::npos ||
                         feature.name.find("_hold_") != std::string::npos;
    return of_axis && !is_rate && feature.scale != Scale::kFlag &&
           std::abs(log_ratio(e, axis + "_rate_hz")) > kOtherRate;
}

std::optional<Deviation> deviation(const Evidence& e, const Feature& feature) {
    if (feature.only_relates || at_another_rate(e, feature) || shape_of_nothing(e, feature)) {
        return std::nullopt;
    }
    const analysis::Figure* f = figure_for(e, feature);
    const std::string axis = feature.name.substr(0, 1);
    if (f == nullptr || (feature.needs_lock && !locked(e, axis))) {
        return std::nullopt;
    }
    Deviation d{&feature, f->value, 0, f->value, 1, f->text, f->unit};
    if (feature.scale == Scale::kFlag) {
        return d;
    }
    const Expectation* x = expected_of(e, feature.name);
    const double scale = unit_of_scale(e, feature);
    if (x == nullptr || !(scale > 0) || !std::isfinite(f->u)) {
        return std::nullopt;
    }
    d.expected = x->value;
    const bool ratio = feature.scale == Scale::kRatio;
    if (ratio && !(x->value > 0)) {
        return std::nullopt;
    }
    d.value = ratio ? std::log(std::max(f->value / x->value, kLeastRatio))
                    : (f->value - x->value) / scale;
    // Relative uncertainty grows as the value falls: of the ratio's logarithm it is u over value.
    const double u_scale = ratio ? std::max(std::abs(f->value), kLeastRatio * scale) : scale;
    const bool heat = feature.scale == Scale::kHeatRise;
    // What rises half as much is half as far off for other air and other parts; the room is not.
    const double part = heat ? std::clamp((f->value - kRoomC) / scale, 0.0, 1.0) : 1;
    d.sd = std::max(std::hypot(analysis::total_u(*f) / u_scale, part * 0.5 * x->tolerance / scale,
                               heat ? kRoomDoubtC / scale : 0),
                    std::max(feature.floor, 1e-6));
    if (f->name != feature.name) {
        d.text = f->text + ", against the free run as it does not lock";
    }
    relate(e, feature, d);
    return d;
}

} // namespace

std::vector<Deviation> deviations(const Catalogue& catalogue, const Evidence& evidence) {
    std::vector<Deviation> out;
    for (const Feature& feature : catalogue.features) {
        if (const auto d = deviation(evidence, feature)) {
            out.push_back(*d);
        }
    }
    return out;
}

} // namespace yokedock::diagnose
