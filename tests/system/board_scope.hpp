// SPDX-License-Identifier: MIT
// An oscilloscope on a simulated board: the model's noiseless waveforms as its owner would export
// them, and the truth of those waveforms that sim::measure_truth does not give.
#pragma once
#include "demo/virtual_bench/board/parameters.hpp"
#include "shared/wire/messages.hpp"
#include <string>
#include <vector>

namespace yokedock::test {

/// Channels over time, one vector per name.
struct BoardWaves {
    std::vector<double> time_s;
    std::vector<std::string> names;
    std::vector<std::vector<double>> values;
    std::vector<double> line_start_s; ///< of the sync, since the board was switched on

    [[nodiscard]] const std::vector<double>& of(const std::string& name) const;
};

/// Runs a new board under ideal sync until begin_s and samples it from there. names: of the channel
/// table, h_out_v or sync_v.
[[nodiscard]] BoardWaves sample_board(const sim::BoardParameters& parameters,
                                      const wire::SyncSettings& settings,
                                      const std::vector<std::string>& names, double begin_s,
                                      double step_s, double length_s);

/// The export of an instrument of 10 bits: each channel fills 80 % of its range, noise is half a
/// code rms, and time 0 is a trigger after the first row.
[[nodiscard]] std::string scope_csv(const BoardWaves& waves, std::uint32_t seed);

// Truth by plain sums and searches; nothing is shared with the analysis.

[[nodiscard]] double mean(const std::vector<double>& values);
/// The component of that frequency, peak to peak, over an even number of its turns.
[[nodiscard]] double sine_pp(const std::vector<double>& time_s, const std::vector<double>& values,
                             double hz);

struct PulseTruth {
    double peak = 0;   ///< mean over the periods
    double lowest = 0; ///< mean over the periods
    double width_50_s = 0;
    double width_10_s = 0;
    std::vector<double> rise_50_s;
};
/// Levels are parts of the way from the median to the peak. time_s dense and of equal steps.
[[nodiscard]] PulseTruth judge_pulses(const std::vector<double>& time_s,
                                      const std::vector<double>& value, double period_s);
/// Of edges after starts that follow each other at period_s; -period / 2 to period / 2.
[[nodiscard]] double mean_phase_s(const std::vector<double>& edge_s,
                                  const std::vector<double>& start_s, double period_s);

} // namespace yokedock::test
