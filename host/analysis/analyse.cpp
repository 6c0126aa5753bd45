// SPDX-License-Identifier: MIT
#include "host/analysis/analyse.hpp"
#include "host/analysis/figures.hpp"

namespace yokedock::analysis {

AnalysisResult analyse(const capture::Observation& observation, const AnalysisOptions& options) {
    AnalysisResult result;
    const SupplyFacts supply = supply_facts(observation, options);
    const Axis vertical = vertical_axis(observation, options);
    const Axis horizontal = horizontal_axis(observation, options);
    const AxisTiming fields = time_axis(vertical, observation);
    const AxisTiming lines = time_axis(horizontal, observation);
    add_rate_figures(vertical, fields, observation, result);
    add_interlace_figure(vertical, fields, observation, result);
    add_rate_figures(horizontal, lines, observation, result);
    add_ramp_figures(vertical, fields, observation, supply, result);
    add_ramp_figures(horizontal, lines, observation, supply, result);
    add_output_figures(vertical, fields, horizontal, lines, observation, supply, result);
    add_slow_figures(observation, supply, result);
    return result;
}

} // namespace yokedock::analysis
