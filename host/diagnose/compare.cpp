// SPDX-License-Identifier: MIT
#include "host/diagnose/compare.hpp"
#include "host/diagnose/compare_parts.hpp"
#include "host/diagnose/facts.hpp"
#include <algorithm>
#include <cassert>
#include <cmath>
#include <fmt/format.h>

namespace yokedock::diagnose {
namespace {

bool in_question(Axis axis, const CompareOptions& options) {
    return axis == Axis::kVertical     ? options.vertical
           : axis == Axis::kHorizontal ? options.horizontal
                                       : true;
}

/// Everything that is judged may give a false alarm: all of it shares the one that is allowed.
std::size_t count_tests(const Measurement& record, const CompareOptions& options) {
    std::size_t tests = 0;
    for (const analysis::Figure& figure : record.figures) {
        const FigureRule rule = rule_of(figure.name);
        tests += rule.way != FigureRule::Way::kShown &&
                         figure.status == analysis::FigureStatus::kMeasured &&
                         in_question(rule.axis, options)
                     ? 1u
                     : 0u;
    }
    for (const analysis::RampCurve& curve : record.curves) {
        const bool vertical = curve.channel == "v_yoke_a";
        tests += (vertical ? options.vertical : options.horizontal) ? kShapeTests : 0;
    }
    return std::max<std::size_t>(tests, 1);
}

} // namespace

std::map<std::string, Sampling> samplings_of(const capture::Observation& observation) {
    constexpr double kGapSteps = 20;
    std::map<std::string, Sampling> out;
    for (const auto& [channel, samples] : observation.channels) {
        Sampling sampling;
        sampling.step_s = median_step_s(samples);
        double stretch = 0;
        for (std::size_t i = 1; i < samples.time_s.size(); ++i) {
            const double step = samples.time_s[i] - samples.time_s[i - 1];
            stretch = step > kGapSteps * sampling.step_s ? 0 : stretch + step;
            sampling.seconds = std::max(sampling.seconds, stretch);
        }
        out[channel] = sampling;
    }
    return out;
}

analysis::AnalysisOptions windows_of(const analysis::AnalysisResult& reference,
                                     analysis::AnalysisOptions options) {
    for (const analysis::RampPlot& ramp : reference.ramps) {
        auto& window =
            ramp.channel == "v_yoke_a" ? options.vertical_window : options.horizontal_window;
        if (!window && ramp.against_sync) {
            window = analysis::SyncWindow{ramp.window_begin_s, ramp.window_end_s};
        }
    }
    return options;
}

Comparison compare(const Measurement& record, const std::vector<Measurement>& references,
                   const CompareOptions& options) {
    assert(!references.empty());
    Comparison comparison;
    comparison.kind = options.kind;
    comparison.tests = count_tests(record, options);
    for (const Measurement& reference : references) {
        comparison.references.push_back(reference.name);
    }
    const Bearing bearing = judge_conditions(record, references, options);
    comparison.conditions = bearing.conditions;
    for (FigureComparison& c :
         compare_figures(record, references, options, bearing, comparison.tests)) {
        if (in_question(c.rule.axis, options)) {
            comparison.figures.push_back(std::move(c));
        }
    }
    for (const Axis axis : {Axis::kVertical, Axis::kHorizontal}) {
        if (in_question(axis, options)) {
            comparison.ramps.push_back(
                compare_ramp(axis, record, references, options, bearing, comparison.tests));
        }
    }
    judge_axes(comparison, options, bearing);
    return comparison;
}

} // namespace yokedock::diagnose
