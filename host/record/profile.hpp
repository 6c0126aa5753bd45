// SPDX-License-Identifier: MIT
// What a board type should do, what it may not exceed, and what it is made of. docs/profile.md
// describes the file.
#pragma once
#include "host/record/part_roles.hpp"
#include "host/record/profile_limits.hpp"
#include "host/result.hpp"
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace yokedock::record {

constexpr int kProfileSchema = 2; ///< 1 had name, rates and windows only; it is still read
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

/// Nothing: not stated, so nobody judges it. Units are in the names.
struct ProfileLimits {
#define X(key, unit, least, most, text) std::optional<double> key;
    YOKEDOCK_PROFILE_LIMITS(X)
#undef X
};

/// The real coil, as the load must be.
struct ProfileCoil {
    std::optional<double> inductance_h;
    std::optional<double> resistance_ohm;
    double tolerance_pct = 10; ///< of both. Common practice, no source
};

/// Asked before the first power-up after work.
struct ProfileQuestion {
    std::string id; ///< for --confirm: "sockets_seated"
    std::string text;
};

enum class ExpectationBasis {
    kStated,  ///< somebody wrote it down
    kDefault, ///< value from one board, tolerance by default
    kSpread,  ///< from several boards: prediction interval for one more
};

struct ExpectedFigure {
    double value = 0;
    double tolerance = 0; ///< in the figure's unit, or % of |value|
    bool tolerance_is_pct = false;
    ExpectationBasis basis = ExpectationBasis::kStated;
    int boards = 0;               ///< it was learned from; 0 not told
    std::optional<double> spread; ///< standard deviation between them

    /// Half width of the band, in the figure's unit.
    [[nodiscard]] double half_width() const;
};

struct ProfilePart {
    std::string designator; ///< "C401"; unique
    Section section{};
    PartRole role = PartRole::kOther;
    PartQuantity quantity = PartQuantity::kNone;
    double value = 0; ///< in SI units of the quantity
    std::optional<double> tolerance_pct;
    std::string type; ///< of parts without a value: "NPN, 60 V, 1 A"
    std::optional<double> rating_v;
    std::optional<double> rating_a;
    std::optional<double> rating_w;
    std::optional<double> rating_c;
    std::vector<std::string> replaced_on; ///< "2026-01-31", in order
    std::string note;
};

struct Profile {
    std::string name;
    std::string standard;     ///< name in the table of sync standards; "" when only rates are given
    double line_rate_hz = 0;  ///< 0: that of the standard
    double field_rate_hz = 0; ///< 0: that of the standard
    ProfileAxis vertical;
    ProfileAxis horizontal;
    /// Nothing: not stated, and then to be treated as yes.
    std::optional<bool> live_to_mains = {};
    std::optional<bool> own_line_output_transformer = {};
    bool simulated = false; ///< the expected figures come from the simulated bench
    ProfileLimits limits = {};
    ProfileCoil vertical_yoke = {};
    ProfileCoil horizontal_yoke = {};
    std::vector<ProfileQuestion> questions = {};
    std::map<std::string, ExpectedFigure> expected = {}; ///< by figure name
    std::vector<ProfilePart> parts = {};
    std::vector<std::string> notes = {};
};

/// The rate it is fed, from the profile's own or its standard's; 0 when neither is known.
[[nodiscard]] double nominal_line_rate_hz(const Profile& profile);
[[nodiscard]] double nominal_field_rate_hz(const Profile& profile);

/// The parts that do this job on the board; none when the profile has no such part.
[[nodiscard]] std::vector<const ProfilePart*> find_parts(const Profile& profile, Section section,
                                                         PartRole role);

/// One thing wrong in a file.
struct ProfileMistake {
    int line;
    std::string key;      ///< "parts[3].value_ohm"; "" the whole document
    std::string is;       ///< what came
    std::string expected; ///< and what to write instead
};

struct CheckedProfile {
    std::optional<Profile> profile;       ///< nothing when there is any mistake
    std::vector<ProfileMistake> mistakes; ///< by line
};

/// Reads a profile and finds every mistake in it. An error only when the text is no JSON at all or
/// of a newer schema. file is for messages.
[[nodiscard]] Result<CheckedProfile> check_profile_text(const std::string& text,
                                                        const std::string& file);
/// "line 12: limits.supply_max_v is 240, expected ...", without a newline.
[[nodiscard]] std::string mistake_text(const ProfileMistake& mistake);

/// The profile, or an error that tells the first mistakes and how to see all.
[[nodiscard]] Result<Profile> load_profile(const std::string& path);
/// As a file; ends with a newline.
[[nodiscard]] std::string profile_text(const Profile& profile);

/// The same from text; file is only for messages.
[[nodiscard]] Result<Profile> profile_from_text(const std::string& text, const std::string& file);

} // namespace yokedock::record
