// SPDX-License-Identifier: MIT
#include "host/diagnose/compare_rules.hpp"
#include <algorithm>
#include <cmath>
#include <string_view>

namespace yokedock::diagnose {
namespace {

using Way = FigureRule::Way;

// Half of what must be found (docs/compare.md): a 3 % change of size, a 5 % change of retrace. So a
// board that changed by that much stands as far beyond the tolerance as an unchanged one within.
constexpr double kSizeShare = 0.015;
constexpr double kRetraceShare = 0.025;
constexpr double kRateShare = 0.001;
constexpr double kVoltageShare = 0.02;
constexpr double kCurrentShare = 0.05;
constexpr double kRippleShare = 0.1;
constexpr double kRippleLeastV = 0.02;
// Half of the 1 % that a ramp generator may deviate at all (TDA1170S data sheet, page 4). The other
// definitions of linearity read the same bow 1.5, 4 and 8 times as high (1 - exp(-a t), a small).
constexpr double kLinearityPct = 0.5;
// A tenth of a line, from where lines of the two fields are seen to pair: common practice, no
// source.
constexpr double kFieldJitterUs = 6;
// Detail limit of a 4.5 MHz picture, 0.111 us (Motorola AN921, opening).
constexpr double kLineJitterUs = 0.11;

struct Row {
    std::string_view name; ///< without "v_" or "h_" where `both`
    bool both;
    Way way;
    Item item;
    bool window;
    double share;
    double share_of_size;
    double least_vertical; ///< and of names that stand alone
    double least_horizontal;
};

constexpr Row kRows[] = {
    {"locked", true, Way::kYesOrNo, Item::kLock, false, 0, 0, 0, 0},
    {"rate_hz", true, Way::kMeasured, Item::kRate, false, kRateShare, 0, 0, 0},
    {"sync_rate_hz", true, Way::kShown, Item::kNone, false, 0, 0, 0, 0},
    {"missing_edges", true, Way::kCount, Item::kNone, false, 0, 0, 2, 2},
    {"extra_edges", true, Way::kCount, Item::kNone, false, 0, 0, 2, 2},
    // 1 % of the picture: common practice, no source.
    {"phase_us", true, Way::kMeasured, Item::kNone, false, 0, 0, 150, 0.6},
    {"jitter_rms_us", true, Way::kMeasured, Item::kNone, false, 0, 0, kFieldJitterUs,
     kLineJitterUs},
    // Of the largest of many: as wide as three standard deviations that differ by the tolerance.
    {"jitter_peak_us", true, Way::kMeasured, Item::kNone, false, 0, 0, 3 * kFieldJitterUs,
     3 * kLineJitterUs},
    {"v_field_to_field_us", false, Way::kMeasured, Item::kNone, false, 0, 0, kFieldJitterUs, 0},
    {"h_line_to_line_us", false, Way::kMeasured, Item::kNone, false, 0, 0, kLineJitterUs, 0},
    {"v_interlace_lines", false, Way::kMeasured, Item::kNone, false, 0, 0, 0.1, 0},
    {"yoke_pp_a", true, Way::kMeasured, Item::kSize, true, kSizeShare, 0, 0, 0},
    {"yoke_swing_a", true, Way::kMeasured, Item::kNone, false, kSizeShare, 0, 0, 0},
    {"yoke_centring_a", true, Way::kMeasured, Item::kCentring, true, 0, kSizeShare, 0, 0},
    {"yoke_bow_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, kLinearityPct, kLinearityPct},
    {"yoke_s_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, kLinearityPct, kLinearityPct},
    {"yoke_s_error_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, kLinearityPct,
     kLinearityPct},
    {"yoke_linearity_lsq_pct", true, Way::kMeasured, Item::kLinearity, true, 0, 0, kLinearityPct,
     kLinearityPct},
    {"yoke_linearity_end_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, 1.5 * kLinearityPct,
     1.5 * kLinearityPct},
    {"yoke_spacing_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, 4 * kLinearityPct,
     4 * kLinearityPct},
    {"yoke_spacing_mean_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, 8 * kLinearityPct,
     8 * kLinearityPct},
    {"yoke_foldover_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, 1, 1},
    // A slope read over 4 % of the window: below this it is noise.
    {"yoke_crossover_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, 10, 10},
    {"yoke_hum_position_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, kLinearityPct,
     kLinearityPct},
    {"yoke_hum_size_pct", true, Way::kMeasured, Item::kNone, true, 0, 0, kLinearityPct,
     kLinearityPct},
    {"retrace_us", true, Way::kMeasured, Item::kRetrace, false, kRetraceShare, 0, 0, 0},
    {"retrace_full_us", true, Way::kMeasured, Item::kNone, false, kRetraceShare, 0, 0, 0},
    {"retrace_pulse_us", true, Way::kMeasured, Item::kRetrace, false, kRetraceShare, 0, 0, 0},
    {"v_out_max_v", false, Way::kMeasured, Item::kNone, false, kVoltageShare, 0, 0.2, 0},
    {"v_out_min_v", false, Way::kMeasured, Item::kNone, false, kVoltageShare, 0, 0.2, 0},
    {"v_out_peak_ratio", false, Way::kMeasured, Item::kNone, false, kVoltageShare, 0, 0, 0},
    {"v_out_pulse_us", false, Way::kMeasured, Item::kNone, false, kRetraceShare, 0, 0, 0},
    {"h_peak_v", false, Way::kMeasured, Item::kNone, false, kVoltageShare, 0, 0, 0},
    {"h_out_peak_v", false, Way::kMeasured, Item::kNone, false, kVoltageShare, 0, 0, 0},
    // What turns below zero is judged against the peak's tolerance, not against its own few volts.
    {"h_out_min_v", false, Way::kMeasured, Item::kNone, false, kVoltageShare, 0, 1, 1},
    {"h_out_width_50_us", false, Way::kMeasured, Item::kNone, false, kRetraceShare, 0, 0, 0},
    {"h_out_width_10_us", false, Way::kMeasured, Item::kNone, false, kRetraceShare, 0, 0, 0},
    {"supply_v", false, Way::kMeasured, Item::kNone, false, kVoltageShare, 0, 0, 0},
    {"supply_ripple_v", false, Way::kMeasured, Item::kNone, false, kRippleShare, 0, kRippleLeastV,
     kRippleLeastV},
    {"supply_mains_v", false, Way::kMeasured, Item::kNone, false, kRippleShare, 0, kRippleLeastV,
     kRippleLeastV},
    {"supply_a", false, Way::kMeasured, Item::kNone, false, kCurrentShare, 0, 0, 0},
    {"mains_hz", false, Way::kShown, Item::kNone, false, 0, 0, 0, 0},
    {"heatsink_c", false, Way::kShown, Item::kNone, false, 0, 0, 0, 0},
    {"ref_v", false, Way::kShown, Item::kNone, false, 0, 0, 0, 0},
    {"ref_error_mv", false, Way::kShown, Item::kNone, false, 0, 0, 0, 0},
};

// Good boards of a type differ by about the default tolerance in what controls and parts set; by
// less in what is only limited by seeing; and not at all in what sync sets. Common practice, no
// source.
double boards_share(const Row& row) {
    if (row.way != Way::kMeasured || row.item == Item::kRate) {
        return 0;
    }
    for (const char* word : {"jitter", "_to_", "interlace", "hum", "foldover", "phase"}) {
        if (row.name.find(word) != std::string_view::npos) {
            return 0.3;
        }
    }
    return 1;
}

Axis axis_of(std::string_view name) {
    return name.substr(0, 2) == "v_"   ? Axis::kVertical
           : name.substr(0, 2) == "h_" ? Axis::kHorizontal
                                       : Axis::kBoard;
}

} // namespace

FigureRule rule_of(const std::string& figure_name) {
    const Axis axis = axis_of(figure_name);
    const std::string_view whole = figure_name;
    const std::string_view rest = axis == Axis::kBoard ? whole : whole.substr(2);
    for (const Row& row : kRows) {
        if (row.both ? axis != Axis::kBoard && row.name == rest : row.name == whole) {
            return {row.way,
                    axis,
                    row.item,
                    row.window,
                    row.share,
                    row.share_of_size,
                    axis == Axis::kHorizontal && row.both ? row.least_horizontal
                                                          : row.least_vertical,
                    boards_share(row)};
        }
    }
    FigureRule unknown; // of another version: nothing is known of it that could be judged
    unknown.way = Way::kShown;
    unknown.axis = axis;
    return unknown;
}

double default_tolerance(const FigureRule& rule, double reference, double size) {
    if (rule.share_of_size > 0) {
        return rule.share_of_size * std::abs(size);
    }
    return std::max(rule.share * std::abs(reference), rule.least);
}

const char* word_of(Item item) {
    switch (item) {
    case Item::kLock:
        return "lock";
    case Item::kRate:
        return "rate";
    case Item::kSize:
        return "size";
    case Item::kCentring:
        return "centring";
    case Item::kLinearity:
        return "linearity";
    case Item::kRetrace:
        return "retrace";
    case Item::kShape:
        return "shape of the ramp";
    case Item::kNone:
        break;
    }
    return "";
}

const char* word_of(Axis axis) {
    return axis == Axis::kVertical     ? "vertical"
           : axis == Axis::kHorizontal ? "horizontal"
                                       : "supply";
}

} // namespace yokedock::diagnose
