// SPDX-License-Identifier: MIT
// The catalogue of fault signatures as a file; docs/diagnosis.md describes it.
#pragma once
#include "host/diagnose/catalogue.hpp"
#include "host/result.hpp"

namespace yokedock::record {

constexpr int kCatalogueSchema = 1;
constexpr std::uint64_t kMaxCatalogueBytes = 1u << 20;

/// The text of host/diagnose/catalogue.json, built into the program.
[[nodiscard]] const char* built_in_catalogue_text();

/// Strict: unknown and missing keys, sections, roles, figures, trips and ids that do not exist are
/// told with their place in the file. file is for messages.
[[nodiscard]] Result<diagnose::Catalogue> catalogue_from_text(const std::string& text,
                                                              const std::string& file);
[[nodiscard]] Result<diagnose::Catalogue> load_catalogue(const std::string& path);
[[nodiscard]] Result<diagnose::Catalogue> built_in_catalogue();

} // namespace yokedock::record
