// SPDX-License-Identifier: MIT
// What `check --learn` keeps of real yokes measured on the bench, by load: compared with later.
// Small JSON file.
#pragma once
#include "host/analysis/load_verdict.hpp"
#include "host/record/file.hpp"
#include <optional>
#include <string>

namespace yokedock::record {

constexpr int kCoilSchema = 1;
constexpr std::uint64_t kMaxCoilBytes = 1u << 16;

struct LearnedLoad {
    analysis::LearnedCoil coil;
    std::string time_utc;
    std::uint32_t bench_serial = 0;
};

struct CoilFile {
    bool simulated = false;
    std::optional<LearnedLoad> vertical;
    std::optional<LearnedLoad> horizontal;
};

[[nodiscard]] std::string coil_text(const CoilFile& file);
/// file is for messages, which name key and what was expected.
[[nodiscard]] Result<CoilFile> coil_from_text(const std::string& text, const std::string& file);
[[nodiscard]] Result<CoilFile> load_coils(const std::string& path);
[[nodiscard]] Status save_coils(const CoilFile& file, const std::string& path);

} // namespace yokedock::record
