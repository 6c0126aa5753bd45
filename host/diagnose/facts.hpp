// SPDX-License-Identifier: MIT
// Plain yes-or-no facts of a dead board, which the figures cannot give: without pulses there is no
// period, and without a period almost nothing is measured. "There is no current" is a measurement
// all the same.
#pragma once
#include "host/capture/observation.hpp"
#include "host/diagnose/diagnose.hpp"

namespace yokedock::diagnose {

/// Appends v_pulses_seen, h_pulses_seen (the retrace comparator's edges, at a tenth of the nominal
/// rate at least), v_current_seen, h_current_seen (rms about the mean at least a tenth of a
/// sawtooth of the expected swing), v_output_moves (a tenth of the rail, peak to peak), each 1 or
/// 0; and v_out_level_v, the mean of the vertical output node. What was not sampled is not
/// measured. A bench that listened saw pulses or none; an import without pulse edges says nothing
/// of pulses.
void add_facts(const capture::Observation& observation, Evidence& evidence);

/// Median distance of a channel's samples; 0 when there are fewer than two.
[[nodiscard]] double median_step_s(const capture::Samples& samples);

} // namespace yokedock::diagnose
