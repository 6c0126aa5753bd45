// SPDX-License-Identifier: MIT
#include "host/analysis/load_words.hpp"
#include <cmath>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

struct Scale {
    double factor;
    const char* unit;
};

Scale scale_of(double value, const std::string& unit) {
    if (unit != "H") {
        return {1, unit.c_str()};
    }
    return std::abs(value) < 1e-3 ? Scale{1e6, "uH"} : Scale{1e3, "mH"};
}

} // namespace

std::string value_words(const Figure& figure) {
    const Scale scale = scale_of(figure.value, figure.unit);
    switch (figure.status) {
    case FigureStatus::kMeasured:
        return fmt::format("{:.3g} {} +-{:.2g}", scale.factor * figure.value, scale.unit,
                           2 * scale.factor * total_u(figure));
    case FigureStatus::kOutOfRange:
        return fmt::format("{} {:.2g} {}", figure.unit == "ohm" ? "at least" : "at most",
                           scale.factor * figure.value, scale.unit);
    case FigureStatus::kNotMeasured:
        break;
    }
    return "not measured";
}

std::string band_words(double low, double high, const std::string& unit) {
    const Scale scale = scale_of(high, unit);
    return fmt::format("{:.3g} to {:.3g} {}", scale.factor * low, scale.factor * high, scale.unit);
}

std::vector<std::string> tolerance_steps(double ohm_ratio, double henry_ratio,
                                         const std::string& output) {
    const auto within = [](double x, double low, double high) { return x >= low && x <= high; };
    if (within(ohm_ratio, 0.4, 0.65) && within(henry_ratio, 0.2, 0.65)) {
        return {
            fmt::format("R and L of about one half: of a {} coil in two halves in series, one is "
                        "bridged or left out; look at the taps and links of the yoke's terminals",
                        output)};
    }
    if (within(ohm_ratio, 1.6, 2.7) && within(henry_ratio, 1.6, 4.5)) {
        return {
            fmt::format("R and L of about twice: of a {} coil in two halves in parallel, one is "
                        "open; look at its joints on the yoke's terminals",
                        output)};
    }
    std::vector<std::string> steps;
    if (henry_ratio > 0 && henry_ratio < 1) {
        steps.emplace_back("L too low: another type of yoke, a core half that has come loose, or "
                           "shorted turns too tightly coupled to show on their own; compare with a "
                           "yoke known to be good, which `check --learn` keeps");
    }
    if (henry_ratio > 1) {
        steps.emplace_back(
            "L too high: another type of yoke, or a width or linearity coil in series");
    }
    if (ohm_ratio > 1 && !(henry_ratio > 1)) {
        steps.emplace_back("R too high: look at plug, crimps and lead first (measure them by four "
                           "wires), then for a broken strand; a coil at working heat has 1.2 times "
                           "its cold R, which is allowed for");
    }
    if (ohm_ratio > 0 && ohm_ratio < 1 && !(henry_ratio > 0 && henry_ratio < 1)) {
        steps.emplace_back("R too low: another wire, or the bench's source resistance is not what "
                           "the calibration says; measure the coil with an ohmmeter");
    }
    if (steps.empty()) {
        steps.emplace_back("compare the yoke's type with the profile's");
    }
    return steps;
}

std::vector<std::string> verdict_steps(LoadVerdict verdict, const LoadExpectation& e) {
    switch (verdict) {
    case LoadVerdict::kOk:
    case LoadVerdict::kOutOfTolerance:
    case LoadVerdict::kNotSure:
        return {};
    case LoadVerdict::kOpen:
        return {fmt::format("look at the {} yoke plug, its leads and the load relay's wiring",
                            e.output),
                "measure the coil itself with an ohmmeter, with its damping resistor lifted at one "
                "end"};
    case LoadVerdict::kShort:
        return {
            fmt::format("unplug the {} yoke and repeat: if it still reads short, the bench's own "
                        "leads or a bridge at the socket are to blame",
                        e.output),
            "measure from coil to coil and from coil to core for a breakdown of the insulation",
            "do not power the board: its output stage would feed the short"};
    case LoadVerdict::kShortedTurns:
        return {
            "do not power the board: shorted turns draw current from the output stage and heat up",
            "look at the yoke for burnt, dark or bulging turns, and for anything of metal that "
            "closes round the core",
            "repeat with the yoke off the tube's neck and with its damping resistors lifted: "
            "what stays is in the winding",
            "compare the two halves of the coil, each alone: the faulty one has the lower L"};
    case LoadVerdict::kWrongWinding:
        return {
            fmt::format("look whether the yoke plugs are swapped: these are the values of the {} "
                        "winding at the {} output",
                        e.other, e.output),
            "do not power the board before they are right: a line output stage on the vertical "
            "winding, or the reverse, may destroy itself"};
    case LoadVerdict::kReversed:
        return {
            "look at the leads of the bench's current sense (shunt or transformer) and of its step "
            "drive: one pair is the wrong way round",
            "a yoke whose own two leads are swapped does not show here, its step is the same: it "
            "shows as a picture upside down or mirrored"};
    }
    return {};
}

} // namespace yokedock::analysis
