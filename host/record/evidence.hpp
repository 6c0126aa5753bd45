// SPDX-License-Identifier: MIT
// What a diagnosis is made from: figures of a record, and what a profile or a reference record
// expects of them. Pure.
#pragma once
#include "host/capture/observation.hpp"
#include "host/diagnose/diagnose.hpp"
#include "host/record/profile.hpp"

namespace yokedock::record {

/// reference nullptr: none; where it has a figure it counts before the profile (the same board when
/// it was good). Without sync the rates are the free-running ones; their expectation, unless the
/// profile has one, is the nominal line rate +-2 %, and 6 % +-6 % below the field rate (common
/// practice, no source). Peak and width of the line output node stand in for h_peak_v and
/// h_retrace_pulse_us where the bench's own were not measured.
[[nodiscard]] diagnose::Evidence evidence_from(const diagnose::Catalogue& catalogue,
                                               const analysis::FigureSet& figures,
                                               const capture::Observation& observation,
                                               const std::optional<Profile>& profile,
                                               const analysis::FigureSet* reference);

} // namespace yokedock::record
