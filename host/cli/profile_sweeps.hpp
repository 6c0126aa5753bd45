// SPDX-License-Identifier: MIT
// Lock sweeps of good boards to learn from.
#pragma once
#include "host/cli/profile_boards.hpp"
#include "host/cli/sweep_evidence.hpp"
#include "host/record/profile_learn.hpp"

namespace yokedock::cli {

/// Each log, of the sync of `board`. kFile for another standard or rate, and for two logs with the
/// same readings: twice the same would pass for no spread.
[[nodiscard]] Result<std::vector<SweptBoard>> load_sweeps(const std::vector<std::string>& files,
                                                          const Board& board, Seams& seams);

/// What speaks against them as sweeps of good boards: cut off, no lock at the set rate, simulated
/// beside real. The user may know better.
[[nodiscard]] std::vector<std::string> sweep_objections(const std::vector<SweptBoard>& swept,
                                                        const Board& board);

/// Adds each axis' figures to profile.expected and what was left out to `learned`. An axis without
/// a sweep keeps what `base` expected of it.
void learn_sweeps(const std::vector<SweptBoard>& swept, const std::optional<record::Profile>& base,
                  record::Profile& profile, record::Learned& learned);

} // namespace yokedock::cli
