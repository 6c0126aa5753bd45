// SPDX-License-Identifier: MIT
// Signatures of faults as data: which figures a fault moves, in which direction and how far. The
// file is host/diagnose/catalogue.json; host/record/catalogue_file.hpp reads it. Sizes come from
// circuit theory and independent circuit runs (MEASUREMENTS section 6). Where a first estimate
// missed an effect, training boards of the simulated bench said so, and it was derived anew.
#pragma once
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace yokedock::diagnose {

/// How a figure is set against its expected value.
enum class Scale {
    kRatio,        ///< ln(value / expected)
    kDifference,   ///< value - expected, in the figure's unit
    kShareOfSwing, ///< (value - expected) / expected peak-to-peak yoke current of its axis
    kShareOfRail,  ///< (value - expected) / expected rail
    kHeatRise,     ///< (value - expected) / (expected - room): -1 is as cold as the room
    kFlag,         ///< 0 or 1; 1 is what a good board shows
};

/// The room, in degC, and its doubt: common practice, no source. A sink is expected warmer than it.
constexpr double kRoomC = 23;
constexpr double kRoomDoubtC = 4;
constexpr double kLeastRiseC = 5;

/// A figure that takes part in the diagnosis. Figures were chosen so that no two say the same.
struct Feature {
    std::string name;
    Scale scale = Scale::kRatio;
    double broad = 0; ///< sd of the deviation when nothing is known of it, in the scale (ratio: ln)
    double default_tolerance = 0; ///< half band against a reference record; ratio: relative
    double floor = 0;             ///< least sd, in the scale
    double rail_power_low = 0;    ///< a good board's figure goes with the rail to a power between
    double rail_power_high = 0;   ///< these (no power: both 0)
    double rate_power = 0;        ///< and with its own axis' rate to this power
    double weight = 1; ///< below 1: how much of it others have not said, where one part moves
                       ///< several figures in good boards, too
    bool root = false; ///< others depend on it, it on nobody: only rows that speak of it move it
    bool needs_lock = false;   ///< says nothing while its axis is not locked
    bool only_relates = false; ///< others are judged relative to it; it does not speak itself
};

/// What a fault makes of one figure, from slight to as bad as it gets.
struct Effect {
    double low = 1; ///< ratio: factor; difference and shares: deviation; flag: probability of 1;
                    ///< heat rise: what is left of it, 0 to 1 and above
    double high = 1;
    std::optional<double> mid = {}; ///< half way; nothing: evenly between (ratio: in equal ratios)
    double sd = 0;            ///< doubt of the size besides a third of the effect; in the scale
    bool either_sign = false; ///< ratio: factor or its inverse
    bool maybe = false; ///< comes with the fault in half of the cases, all such effects together
};

struct FaultRow {
    std::string id;
    std::string section; ///< word of record::kSections
    std::string text;
    std::vector<std::string> roles; ///< words of record::kPartRoles, most likely first
    double prior = 1;               ///< weight among the faults
    bool comes_with_heat = false;   ///< a board that has it is good while it is cold
    bool keep_off = false; ///< no power again before it is checked: it kills parts, or makes high
                           ///< voltage
    std::map<std::string, Effect> figures;
    std::string derivation;
    std::vector<std::string> mistaken_for; ///< ids
    std::vector<std::string> checks;       ///< ids
    std::vector<std::string> trips;        ///< causes of a trip it brings about
};

struct Check {
    std::string id;
    std::string text;
    double minutes = 1;
    bool powered = false;           ///< the board must run for it
    std::vector<std::string> finds; ///< faults that it shows when they are there
};

struct Catalogue {
    double prior_healthy = 0.5;
    double prior_other = 0.05; ///< something that is not in the catalogue
    std::vector<Feature> features;
    std::vector<FaultRow> faults;
    std::vector<Check> checks;
};

} // namespace yokedock::diagnose
