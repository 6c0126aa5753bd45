// SPDX-License-Identifier: MIT
// Records as good boards to learn from, and what speaks against that.
#pragma once
#include "host/analysis/figure.hpp"
#include "host/record/profile.hpp"

namespace yokedock::cli {

/// What is kept of a record: it may hold hundreds of megabytes of samples.
struct Board {
    std::string file;
    std::string standard;
    bool complete;
    bool simulated;
    double line_rate_hz;
    double field_rate_hz;
    analysis::FigureSet figures;
};

/// A name in the table of sync standards.
[[nodiscard]] bool is_standard(const std::string& name);

/// Reads the record and makes its figures anew. base: in: what the user gave; out: when that is
/// nothing, the record's own profile. So all boards are judged over one window.
[[nodiscard]] Result<Board> load_board(const std::string& file,
                                       std::optional<record::Profile>& base);

/// Everything that speaks against taking the records as good boards of one type: incomplete, not
/// locked, simulated beside real. The user may know better.
[[nodiscard]] std::vector<std::string> objections(const std::vector<Board>& boards);

/// What the user cannot know better: other standards, the same measurement twice.
[[nodiscard]] Status check_same_kind(const std::vector<Board>& boards,
                                     const std::optional<record::Profile>& base);

} // namespace yokedock::cli
