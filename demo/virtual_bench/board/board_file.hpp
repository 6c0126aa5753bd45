// SPDX-License-Identifier: MIT
// Board files: JSON with a name, a text and values for the parameter table, complete or as changes
// to a base file, and faults (fault_list.hpp) on top of the values.
#pragma once
#include "demo/virtual_bench/board/faults.hpp"
#include <cstdint>
#include <filesystem>
#include <string>

namespace yokedock::sim {

constexpr int kBoardFileSchema = 1;
constexpr std::uintmax_t kMaxBoardFileBytes = 1u << 20;

/// Values with the faults that never change in them; those that come and go beside them.
struct BoardFile : FaultyBoard {
    std::string name;
    std::string text;
};

/// Reads and checks a board file, and the base file it may name (a path relative to its own folder;
/// a base has neither base nor faults). Without a base every parameter must be given. Errors name
/// file, key, value and what was expected.
[[nodiscard]] Result<BoardFile> load_board(const std::filesystem::path& path);

/// The same from text; `where` stands for the file in messages. A base is looked for in `folder`.
[[nodiscard]] Result<BoardFile> parse_board(const std::string& json_text, const std::string& where,
                                            const std::filesystem::path& folder);

/// Several settings "path.to.value=number" in order; stops at the first wrong one.
[[nodiscard]] Status apply_settings(BoardParameters& board,
                                    const std::vector<std::string>& settings);

} // namespace yokedock::sim
