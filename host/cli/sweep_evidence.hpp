// SPDX-License-Identifier: MIT
// Lock sweeps beside a record: their figures, for a diagnosis and for a profile.
#pragma once
#include "host/cli/seams.hpp"
#include "host/lock/sweep_types.hpp"
#include "host/record/sweep_log.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::cli {

/// The last sweep of each axis in a log.
struct SweptBoard {
    std::string file;
    std::string standard;
    bool simulated = false;
    double clock_u_relative = 0;
    std::vector<lock::SweepSummary> sweeps; ///< one per axis at most, vertical first
};

/// What a log must be of to stand beside a record. "" and 0: not known.
struct SweptSync {
    std::string file;
    std::string standard;
    double line_rate_hz = 0;
    double field_rate_hz = 0;
};

/// kFile for a log that cannot be read or in which no sweep was begun. A torn last line is a
/// warning on seams.err.
[[nodiscard]] Result<SweptBoard> load_swept_board(const std::string& file, Seams& seams);

/// kFile when the log is of another standard, or of rates more than 0.05 % off: another board type.
[[nodiscard]] Status check_swept_sync(const SweptBoard& swept, const SweptSync& sync);

/// Of one axis; nothing when the log has no sweep of it. The free run's u_clock is the bench's.
[[nodiscard]] std::optional<analysis::FigureSet> sweep_figures_of(const SweptBoard& swept,
                                                                  lock::SweepAxis axis);

struct SweepEvidence {
    analysis::FigureSet figures;
    std::vector<std::string> remarks; ///< whole sentences
};

/// All logs of one board. kUsage when two of them swept the same axis.
[[nodiscard]] Result<SweepEvidence> sweep_evidence(const std::vector<std::string>& files,
                                                   const SweptSync& sync, bool simulated,
                                                   Seams& seams);

} // namespace yokedock::cli
