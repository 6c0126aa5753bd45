// SPDX-License-Identifier: MIT
// From what was seen to figures and plots: the one place where commands meet the analysis.
#pragma once
#include "host/analysis/analyse.hpp"
#include "host/capture/observation.hpp"
#include "host/record/profile.hpp"
#include "host/report/ramp_plot.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::cli {

struct Evaluation {
    analysis::FigureSet figures;
    std::vector<report::RampPlot> plots; ///< vertical, horizontal; only those there are
    std::vector<std::string> warnings;   ///< whole sentences
};

/// The profile of an option that need not be given: nothing for "". Errors as record::load_profile.
[[nodiscard]] Result<std::optional<record::Profile>> load_given_profile(const std::string& file);

/// What a profile says of windows and intended S.
[[nodiscard]] analysis::AnalysisOptions
analysis_options(const std::optional<record::Profile>& profile);

[[nodiscard]] Evaluation evaluate(const capture::Observation& observation,
                                  const std::optional<record::Profile>& profile);

/// The same values throughout, one at least, as only one and the same measurement gives them.
[[nodiscard]] bool same_readings(const analysis::FigureSet& a, const analysis::FigureSet& b);

} // namespace yokedock::cli
