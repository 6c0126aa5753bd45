// SPDX-License-Identifier: MIT
// The options that describe sync: a standard by name, its values by hand, or both.
#pragma once
#include "host/cli/parser.hpp"
#include "host/result.hpp"
#include "shared/wire/messages.hpp"
#include <string>

namespace yokedock::record {
struct Profile;
}

namespace yokedock::cli {

struct SyncOptions {
    std::string standard;
    std::string line_rate_hz; ///< text, so that 15734.2657 stays exact
    double lines_per_field = 0;
    double line_sync_us = 0;
    bool positive = false;
};

struct ChosenSync {
    std::string standard; ///< the record's name for it: a standard, or "free"
    wire::SyncSettings settings;
    double line_rate_hz = 0;
    double field_rate_hz = 0;
};

void add_sync_options(Parser& command, SyncOptions& options);

/// Checked against what the reference bench can make, before any bench is spoken to. The profile's
/// standard and rates hold where no option says otherwise; profile may be nullptr.
[[nodiscard]] Result<ChosenSync> choose_sync(const SyncOptions& options,
                                             const record::Profile* profile);

/// "15734.2657" as numerator / denominator in lowest terms; kUsage when it is no plain decimal
/// number of at most 6 decimals.
struct Ratio {
    std::uint32_t numerator = 0;
    std::uint32_t denominator = 1;
};
[[nodiscard]] Result<Ratio> exact_ratio(const std::string& text, const std::string& option);

} // namespace yokedock::cli
