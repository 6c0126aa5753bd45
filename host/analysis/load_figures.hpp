// SPDX-License-Identifier: MIT
// From fitted rises to the figures of a load step. Inside of load_step.hpp.
#pragma once
#include "host/analysis/load_fit.hpp"

namespace yokedock::analysis {

/// Every figure not measured, with this reason.
void fill_unmeasured(LoadStep& step, const std::string& prefix, const std::string& reason);

/// Figures, budgets, no_current, no_rise and parallel resistor; second must be there already.
void fill_figures(LoadStep& step, const LoadFit& fit, const StepSamples& samples,
                  const StepDrive& drive);

} // namespace yokedock::analysis
