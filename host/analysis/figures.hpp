// SPDX-License-Identifier: MIT
// The parts of analyse(): each appends its figures. Inside the module only.
#pragma once
#include "host/analysis/axis.hpp"
#include "host/analysis/level.hpp"

namespace yokedock::analysis {

/// What is known of the supply before the ramps are looked at.
struct SupplyFacts {
    Level rail;
    double mains_hz = 0; ///< asked for, or seen in the rail; 0 unknown
};

void add_rate_figures(const Axis& axis, const AxisTiming& timing,
                      const capture::Observation& observation, AnalysisResult& result);
void add_interlace_figure(const Axis& axis, const AxisTiming& timing,
                          const capture::Observation& observation, AnalysisResult& result);
void add_ramp_figures(const Axis& axis, const AxisTiming& timing,
                      const capture::Observation& observation, const SupplyFacts& supply,
                      AnalysisResult& result);
void add_output_figures(const Axis& vertical, const AxisTiming& vertical_timing,
                        const Axis& horizontal, const AxisTiming& horizontal_timing,
                        const capture::Observation& observation, const SupplyFacts& supply,
                        AnalysisResult& result);
[[nodiscard]] SupplyFacts supply_facts(const capture::Observation& observation,
                                       const AnalysisOptions& options);
void add_slow_figures(const capture::Observation& observation, const SupplyFacts& supply,
                      AnalysisResult& result);

/// The channel's samples, or nullptr when it was not sampled.
[[nodiscard]] const capture::Samples* find_channel(const capture::Observation& observation,
                                                   const char* name);

/// Marks a figure as a bound when the samples stand at the end of the front end's range.
void mark_out_of_range(Figure& figure, const char* channel, const capture::Samples& samples);

} // namespace yokedock::analysis
