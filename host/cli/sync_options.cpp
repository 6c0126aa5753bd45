// SPDX-License-Identifier: MIT
#include "host/cli/sync_options.hpp"
#include "host/record/profile.hpp"
#include "shared/sync/plan.hpp"
#include "shared/sync/standards.hpp"
#include <cmath>
#include <fmt/format.h>
#include <numeric>

namespace yokedock::cli {
namespace {

constexpr std::uint32_t kReferenceClockHz = 16'000'000;

std::string standard_names() {
    std::string names;
    for (const sync::Standard& standard : sync::kStandards) {
        names += (names.empty() ? "" : ", ") + std::string(standard.name);
    }
    return names;
}

const sync::Standard* find_standard(const std::string& name) {
    for (const sync::Standard& standard : sync::kStandards) {
        if (name == standard.name) {
            return &standard;
        }
    }
    return nullptr;
}

Error usage(const std::string& text) {
    return {ErrorKind::kUsage, text};
}

/// The option behind a field of SyncSettings, and what it may be.
Error refused_field(std::uint8_t field, const wire::SyncSettings& settings) {
    switch (field) {
    case 0:
    case 1:
        return usage(fmt::format("--line-rate-hz is {}, expected {} to {}",
                                 static_cast<double>(settings.line_rate_numerator) /
                                     settings.line_rate_denominator,
                                 sync::kMinLineRateMhz / 1000, sync::kMaxLineRateMhz / 1000));
    case 2:
        return usage(fmt::format(
            "--lines-per-field is {}, expected {} to {}, and whole lines where the "
            "vertical sync is plain or serrated at line rate",
            settings.half_lines / 2.0, sync::kMinHalfLines / 2, sync::kMaxHalfLines / 2));
    case 3:
        return usage(fmt::format("--line-sync-us is {}, expected 0.5 to a quarter of a line",
                                 settings.line_sync_ns / 1000.0));
    default:
        return usage("these sync settings do not go together; start from a --standard");
    }
}

/// Pulses for free settings: those of the standard that is built the same way.
const sync::Standard& nearest_standard(double lines_per_field) {
    const bool interlaced = std::fmod(lines_per_field, 1.0) != 0;
    const bool many_lines = lines_per_field > 290;
    return *find_standard(interlaced ? (many_lines ? "625/50" : "525/59.94")
                                     : (many_lines ? "312" : "262"));
}

Status apply(const SyncOptions& options, wire::SyncSettings& settings) {
    if (!options.line_rate_hz.empty()) {
        const Result<Ratio> ratio = exact_ratio(options.line_rate_hz, "--line-rate-hz");
        if (!ratio) {
            return ratio.error();
        }
        settings.line_rate_numerator = ratio.value().numerator;
        settings.line_rate_denominator = ratio.value().denominator;
    }
    if (options.lines_per_field != 0) {
        const double half_lines = 2 * options.lines_per_field;
        if (!(half_lines >= sync::kMinHalfLines && half_lines <= sync::kMaxHalfLines) ||
            half_lines != std::floor(half_lines)) {
            return usage(fmt::format("--lines-per-field is {}, expected {} to {} in steps of 0.5",
                                     options.lines_per_field, sync::kMinHalfLines / 2,
                                     sync::kMaxHalfLines / 2));
        }
        settings.half_lines = static_cast<std::uint16_t>(half_lines);
    }
    if (options.line_sync_us != 0) {
        if (!(options.line_sync_us >= 0.5 && options.line_sync_us <= 25)) {
            return usage(
                fmt::format("--line-sync-us is {}, expected 0.5 to 25", options.line_sync_us));
        }
        settings.line_sync_ns =
            static_cast<std::uint16_t>(std::lround(options.line_sync_us * 1000));
    }
    if (options.positive) {
        settings.flags = static_cast<std::uint8_t>(settings.flags | wire::kSyncCompositePositive |
                                                   wire::kSyncSeparateLinePositive |
                                                   wire::kSyncSeparateFieldPositive);
    }
    return Done{};
}

} // namespace

Result<Ratio> exact_ratio(const std::string& text, const std::string& option) {
    const auto bad = [&] {
        return usage(
            fmt::format("{} is \"{}\", expected a number like 15734.2657 (at most 6 decimals)",
                        option, text.substr(0, 40)));
    };
    std::uint64_t numerator = 0;
    std::uint64_t denominator = 1;
    bool point = false;
    bool digits = false;
    for (const char c : text) {
        if (c == '.' && !point) {
            point = true;
            continue;
        }
        if (c < '0' || c > '9' || numerator > UINT64_MAX / 100 || denominator > 100'000) {
            return bad();
        }
        digits = true;
        numerator = 10 * numerator + static_cast<std::uint64_t>(c - '0');
        denominator *= point ? 10 : 1;
    }
    if (!digits) {
        return bad();
    }
    const std::uint64_t common = std::gcd(numerator, denominator);
    numerator /= common;
    denominator /= common;
    if (numerator == 0 || numerator > UINT32_MAX) {
        return bad();
    }
    return Ratio{static_cast<std::uint32_t>(numerator), static_cast<std::uint32_t>(denominator)};
}

void add_sync_options(Parser& command, SyncOptions& options) {
    command.add_option("--standard", options.standard, "sync standard: " + standard_names())
        .group("Sync");
    command
        .add_option("--line-rate-hz", options.line_rate_hz,
                    fmt::format("line rate, in place of the standard's ({} to {})",
                                sync::kMinLineRateMhz / 1000, sync::kMaxLineRateMhz / 1000))
        .group("Sync");
    command
        .add_option("--lines-per-field", options.lines_per_field,
                    "lines per field, in place of the standard's; 262.5 is interlaced")
        .group("Sync");
    command
        .add_option("--line-sync-us", options.line_sync_us,
                    "width of the line sync pulse, in place of the standard's")
        .group("Sync");
    command.add_flag("--positive-sync", options.positive, "sync pulses go up on all outputs")
        .group("Sync");
}

Result<ChosenSync> choose_sync(const SyncOptions& options, const record::Profile* profile) {
    ChosenSync chosen;
    std::string name = options.standard;
    SyncOptions wanted = options;
    if (name.empty() && profile != nullptr && options.line_rate_hz.empty() &&
        options.lines_per_field == 0) {
        name = profile->standard;
        if (name.empty()) { // a profile without a standard gives both rates
            wanted.line_rate_hz = fmt::format("{:.6f}", profile->line_rate_hz);
            wanted.lines_per_field =
                std::round(2 * profile->line_rate_hz / profile->field_rate_hz) / 2;
        }
    }
    const sync::Standard* standard = find_standard(name);
    if (!name.empty() && standard == nullptr) {
        return usage(fmt::format("--standard is \"{}\", expected one of {}", name.substr(0, 40),
                                 standard_names()));
    }
    if (standard == nullptr && (wanted.line_rate_hz.empty() || wanted.lines_per_field == 0)) {
        return usage("no sync was chosen, expected --standard NAME, or --line-rate-hz and "
                     "--lines-per-field, or a --profile that names a standard; the standards are " +
                     standard_names());
    }
    chosen.settings = standard != nullptr ? standard->settings
                                          : nearest_standard(wanted.lines_per_field).settings;
    const wire::SyncSettings plain = chosen.settings;
    if (const Status applied = apply(wanted, chosen.settings); !applied) {
        return applied.error();
    }
    const sync::PlanResult plan = sync::make_plan(chosen.settings, kReferenceClockHz);
    if (!plan.ok) {
        return refused_field(plan.bad_field, chosen.settings);
    }
    const bool as_standard = standard != nullptr &&
                             plain.line_rate_numerator == chosen.settings.line_rate_numerator &&
                             plain.line_rate_denominator == chosen.settings.line_rate_denominator &&
                             plain.half_lines == chosen.settings.half_lines &&
                             plain.line_sync_ns == chosen.settings.line_sync_ns;
    chosen.standard = as_standard ? standard->name : "free";
    chosen.line_rate_hz = static_cast<double>(chosen.settings.line_rate_numerator) /
                          chosen.settings.line_rate_denominator;
    chosen.field_rate_hz = 2 * chosen.line_rate_hz / chosen.settings.half_lines;
    return chosen;
}

} // namespace yokedock::cli
