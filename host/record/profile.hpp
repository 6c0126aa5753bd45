// SPDX-License-Identifier: MIT
// What a board type should do. docs/record.md describes the file.
#pragma once
#include "host/result.hpp"
#include <cstdint>
#include <optional>
#include <string>

namespace yokedock::record {

constexpr int kProfileSchema = 1;
constexpr std::uint64_t kMaxProfileBytes = 1u << 20;

/// What is visible of one axis, and how it is bent on purpose.
struct ProfileAxis {
    struct Visible {
        double from; ///< microseconds after sync (first pulse of the field group; leading edge of
                     ///< line sync)
        double to;
    };
    std::optional<Visible> visible_us; ///< nothing: 5 to 95 % of the trace
    double intended_s_q = 0; ///< S-correction wanted: third Legendre coefficient, % of peak to peak
};

struct Profile {
    std::string name;
    std::string standard;     ///< name in the table of sync standards; "" when only rates are given
    double line_rate_hz = 0;  ///< 0: that of the standard
    double field_rate_hz = 0; ///< 0: that of the standard
    ProfileAxis vertical;
    ProfileAxis horizontal;
};

[[nodiscard]] Result<Profile> load_profile(const std::string& path);

/// The same from text; file is only for messages.
[[nodiscard]] Result<Profile> profile_from_text(const std::string& text, const std::string& file);

} // namespace yokedock::record
