// SPDX-License-Identifier: MIT
#include "host/analysis/figures.hpp"
#include "shared/channels.hpp"
#include <algorithm>
#include <cmath>
#include <cstring>
#include <fmt/format.h>

namespace yokedock::analysis {
namespace {

constexpr double kClippedPart =
    0.002; // of the samples at the very end of the range: clipped, not noise
constexpr double kReferenceV = kReferenceUv * 1e-6;
constexpr double kReferenceDoubt = 3; // standard uncertainties

void add_level(const char* channel, const char* name, const char* text, const char* unit,
               const Level& level, const capture::Samples* samples, AnalysisResult& result) {
    if (samples == nullptr || !level.ok) {
        result.figures.push_back(
            not_measured(name, text, unit, fmt::format("{} was not sampled", channel)));
        return;
    }
    Figure f = measured(name, text, unit, level.mean.value, level.mean.u, level.count,
                        level.ripple_ok ? "mean beside fitted mains ripple" : "mean");
    f.u_scale = std::hypot(samples->zero_u, f.value * samples->gain_u_relative);
    f.u = std::hypot(f.u, f.u_scale);
    mark_out_of_range(f, channel, *samples);
    result.figures.push_back(f);
}

Level level_of(const capture::Samples* samples, double mains_hz) {
    return samples == nullptr ? Level{} : measure_level(*samples, mains_hz);
}

void add_ripple(const SupplyFacts& supply, const capture::Samples* samples,
                AnalysisResult& result) {
    const auto add = [&](const char* name, const char* text, const Estimate& e, int times) {
        if (samples == nullptr || !supply.rail.ripple_ok) {
            result.figures.push_back(not_measured(
                name, text, "V",
                samples == nullptr
                    ? "supply_v was not sampled"
                    : "supply_v was sampled for less than a turn and a half of 50 Hz"));
            return;
        }
        Figure f = measured(name, text, "V", e.value, e.u, supply.rail.count,
                            fmt::format("sine of {:g} Hz fitted", times * supply.rail.mains_hz));
        f.u_scale = e.value * samples->gain_u_relative;
        f.u = std::hypot(f.u, f.u_scale);
        result.figures.push_back(f);
    };
    add("supply_ripple_v", "supply ripple at twice the mains, p-p", supply.rail.ripple_twice, 2);
    add("supply_mains_v", "supply ripple at the mains, p-p (one half of the rectifier)",
        supply.rail.ripple_mains, 1);
    if (supply.rail.mains_seen) {
        result.figures.push_back(measured(
            "mains_hz", "mains frequency", "Hz", supply.rail.mains_hz, 0, supply.rail.count,
            "which of 50 and 60 Hz fits the supply's ripple, or as asked"));
    } else {
        result.figures.push_back(not_measured("mains_hz", "mains frequency", "Hz",
                                              samples == nullptr
                                                  ? "supply_v was not sampled"
                                                  : "no mains ripple stands out in supply_v"));
    }
}

void add_reference(const capture::Observation& o, AnalysisResult& result) {
    const capture::Samples* samples = find_channel(o, "ref_v");
    const Level level = level_of(samples, 0);
    add_level("ref_v", "ref_v", "bench reference, 2.500 V", "V", level, samples, result);
    const char* name = "ref_error_mv";
    const char* text = "bench reference, error";
    if (samples == nullptr) {
        result.figures.push_back(not_measured(name, text, "mV", "ref_v was not sampled"));
        return;
    }
    Figure f = result.figures.back();
    f.name = name;
    f.text = text;
    f.unit = "mV";
    f.value = 1e3 * (f.value - kReferenceV);
    f.u *= 1e3;
    f.u_scale *= 1e3;
    result.figures.push_back(f);
    if (std::abs(f.value) > kReferenceDoubt * f.u) {
        result.warnings.push_back(
            fmt::format("The bench itself is off: its 2.500 V reference reads {:.4f} V (+-{:.4f} "
                        "V). No reading "
                        "of current or voltage can be trusted until that is found.",
                        kReferenceV + f.value * 1e-3, 2 * f.u * 1e-3));
    }
}

} // namespace

const capture::Samples* find_channel(const capture::Observation& observation, const char* name) {
    const auto found = observation.channels.find(name);
    return found == observation.channels.end() || found->second.value.empty() ? nullptr
                                                                              : &found->second;
}

void mark_out_of_range(Figure& figure, const char* channel, const capture::Samples& samples) {
    const auto row =
        std::find_if(std::begin(kChannels), std::end(kChannels),
                     [&](const Channel& c) { return std::strcmp(c.name, channel) == 0; });
    if (!samples.of_bench || row == std::end(kChannels) || row->law != ChannelLaw::kLinear ||
        !(samples.resolution > 0)) {
        return;
    }
    const double gain = row->microvolts_per_unit * 1e-6;
    const double full_v = kAdcReferenceMv * 1e-3;
    const double low = -row->zero_mv * 1e-3 / gain;
    const double high = (full_v * (kAdcCodes - 1) / kAdcCodes - row->zero_mv * 1e-3) / gain;
    // A calibrated scale moves the ends by its corrections: allow a few times the table's
    // tolerances.
    const double slack = std::max(2 * samples.resolution, 0.02 * (high - low));
    const auto [least, most] = std::minmax_element(samples.value.begin(), samples.value.end());
    const auto stuck = [&](double end) {
        const auto n = std::count_if(samples.value.begin(), samples.value.end(), [&](double v) {
            return std::abs(v - end) < samples.resolution / 2;
        });
        return static_cast<double>(n) > kClippedPart * static_cast<double>(samples.value.size());
    };
    const bool top = *most > high - slack && stuck(*most);
    const bool bottom = row->zero_mv > 0 && *least < low + slack && stuck(*least);
    if (top || bottom) {
        figure.status = FigureStatus::kOutOfRange;
        figure.reason =
            fmt::format("{} stands at the {} end of its range: the true value lies beyond", channel,
                        top && bottom ? "upper and lower" : (top ? "upper" : "lower"));
    }
}

SupplyFacts supply_facts(const capture::Observation& observation, const AnalysisOptions& options) {
    SupplyFacts facts;
    facts.rail = level_of(find_channel(observation, "supply_v"), options.mains_hz);
    facts.mains_hz =
        options.mains_hz > 0 ? options.mains_hz : (facts.rail.mains_seen ? facts.rail.mains_hz : 0);
    return facts;
}

void add_slow_figures(const capture::Observation& o, const SupplyFacts& supply,
                      AnalysisResult& result) {
    const auto plain = [&](const char* channel, const char* name, const char* text,
                           const char* unit) {
        const capture::Samples* samples = find_channel(o, channel);
        add_level(channel, name, text, unit, level_of(samples, supply.mains_hz), samples, result);
    };
    plain("h_peak_v", "h_peak_v", "horizontal retrace peak (peak detector)", "V");
    const capture::Samples* rail = find_channel(o, "supply_v");
    add_level("supply_v", "supply_v", "supply rail, mean", "V", supply.rail, rail, result);
    add_ripple(supply, rail, result);
    plain("supply_a", "supply_a", "supply current, mean", "A");
    plain("heatsink_c", "heatsink_c", "vertical output heat sink", "degC");
    add_reference(o, result);
}

} // namespace yokedock::analysis
