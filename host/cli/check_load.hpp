// SPDX-License-Identifier: MIT
// The samples of one load for `check`: a quick look, the plan made from it, the precise steps.
#pragma once
#include "host/analysis/load_step.hpp"
#include "host/capture/load_run.hpp"
#include <functional>
#include <string>

namespace yokedock::cli {

/// Drives the load from the bench, for up to 12 s in all. Where the quick look shows no current, or
/// nothing can be made of it, its samples are what is returned. tell: progress, a line each without
/// its end. Errors: as capture::run_load_step.
[[nodiscard]] Result<analysis::StepSamples>
sample_load(bench::Bench& bench, const capture::BenchInfo& info, const analysis::StepDrive& source,
            bool horizontal, const std::function<void(const std::string&)>& tell);

} // namespace yokedock::cli
