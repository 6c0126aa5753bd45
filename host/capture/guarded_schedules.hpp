// SPDX-License-Identifier: MIT
// The captures of a measurement while the bench guards the supply. Pure; see schedules.hpp.
#pragma once
#include "host/capture/schedules.hpp"

namespace yokedock::capture {

[[nodiscard]] std::vector<CapturePhase> guarded_phases(const wire::SyncAchieved& plan,
                                                       const PhaseSeconds& seconds);

} // namespace yokedock::capture
