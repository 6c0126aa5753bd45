// SPDX-License-Identifier: MIT
#include "host/cli/check_load.hpp"
#include "host/analysis/load_plan.hpp"
#include <fmt/format.h>

namespace yokedock::cli {
namespace {

/// Apart by less, edges come too late for a device that sends a sample a line meanwhile (its own
/// limit is half of this; step_late in the simulator).
constexpr double kLeastEdgeS = 65536 / 16e6;

analysis::StepSamples samples_of(const capture::LoadReading& reading, bool horizontal,
                                 bool starts_from_zero) {
    analysis::StepSamples s;
    s.prefix = horizontal ? "h" : "v";
    s.time_s = reading.time_s;
    s.amps = reading.amps;
    s.resolution_a = reading.resolution_a;
    s.gain_u_relative = reading.gain_u_relative;
    s.zero_u_a = reading.zero_u_a;
    s.linearity_u_a =
        0.5 * reading.resolution_a; // ATmega2560 data sheet: 0.5 LSB typical (from memory)
    s.lag_s = reading.lag_s;
    s.lag_u_s = 0.05 * reading.lag_s; // 5 % parts
    s.origin_u_s = 62.5e-9;           // one tick: the drive's edge and the sampling instant
    s.clock_u_relative = reading.clock_u_relative;
    s.starts_from_zero = starts_from_zero;
    s.least_a = reading.least_a;
    s.most_a = reading.most_a;
    return s;
}

Result<analysis::StepSamples> drive(bench::Bench& bench, const capture::BenchInfo& info,
                                    bool horizontal, const analysis::StepPlan& plan) {
    const auto reading = capture::run_load_step(
        bench, info, {horizontal, plan.on_ticks, plan.off_ticks, plan.periods, plan.skip_periods});
    if (!reading) {
        return reading.error();
    }
    return samples_of(reading.value(), horizontal, plan.starts_from_zero);
}

} // namespace

Result<analysis::StepSamples> sample_load(bench::Bench& bench, const capture::BenchInfo& info,
                                          const analysis::StepDrive& source, bool horizontal,
                                          const std::function<void(const std::string&)>& tell) {
    const char* name = horizontal ? "horizontal" : "vertical";
    tell(fmt::format("{} load: a quick look", name));
    if (const Status ready = capture::ready_for_lines(bench); !ready) {
        return ready.error();
    }
    analysis::StepLimits limits;
    limits.tick_s = 1.0 / bench.identity().clock_hz;
    limits.sample_period_s = capture::load_sample_period_s(bench);
    limits.least_s = kLeastEdgeS;
    const analysis::StepPlan first = analysis::plan_first_look(source, limits);
    const auto looked = drive(bench, info, horizontal, first);
    if (!looked) {
        return looked.error();
    }
    const analysis::StepSamples quick = analysis::samples_for(first, looked.value());
    const analysis::LoadStep step = analysis::measure_load_step(quick, source);
    if (!step.ok || step.no_current) {
        return quick;
    }
    const analysis::StepPlan plan = analysis::plan_load_step(step, quick, source, limits);
    tell(fmt::format("{} load: {} steps of {:.3g} ms", name, plan.periods,
                     1e3 * plan.on_ticks * limits.tick_s));
    const auto precise = drive(bench, info, horizontal, plan);
    if (!precise) {
        return precise.error();
    }
    return analysis::samples_for(plan, precise.value());
}

} // namespace yokedock::cli
