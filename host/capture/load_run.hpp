// SPDX-License-Identifier: MIT
// One load step on the bench: drives it, samples it, and places every sample by the step it belongs
// to.
#pragma once
#include "host/bench/bench.hpp"
#include "host/capture/calibration.hpp"
#include "host/capture/raw_capture.hpp"
#include <vector>

namespace yokedock::capture {

struct LoadRun {
    bool horizontal = false;
    std::uint32_t on_ticks = 0;
    std::uint32_t off_ticks = 0;
    std::uint16_t periods = 0;
    std::uint16_t skip_periods = 0; ///< the first ones, left out
};

/// The currents of a run in amperes of this bench's scale, the zero taken off. Delays count from
/// the edge at which the drive went on; a sample in the off time has a negative delay, to the next
/// edge.
struct LoadReading {
    std::vector<double> time_s;
    std::vector<double> amps;
    double resolution_a = 0;
    double gain_u_relative = 0;
    double zero_u_a = 0; ///< of the zero that was taken off
    double lag_s = 0;
    double least_a = 0, most_a = 0; ///< ends of the converter's range
    double clock_u_relative = 0;
    bool calibrated = false;
};

/// Only with the supply off (the bench refuses else). Sets a plain sync plan, not sent, when the
/// session has none: the sampler needs lines. The zero is the mean of the readings before the first
/// step, with the relays closed and the drive off. Errors: the bench's; kRefused when the bench
/// ended the step by itself, with the cause.
[[nodiscard]] Result<LoadReading> run_load_step(bench::Bench& bench, const BenchInfo& info,
                                                const LoadRun& run);

/// Time between two samples of a run, seconds.
[[nodiscard]] double load_sample_period_s(const bench::Bench& bench);
/// Sets the plain sync plan when there is none.
[[nodiscard]] Status ready_for_lines(bench::Bench& bench);

} // namespace yokedock::capture
