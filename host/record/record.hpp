// SPDX-License-Identifier: MIT
// One saved measurement. docs/record.md describes the file; the raw data are kept in it, so that a
// newer version can analyse an old record again.
#pragma once
#include "host/analysis/figure.hpp"
#include "host/capture/raw_capture.hpp"
#include "host/record/file.hpp"
#include "host/record/power_record.hpp"
#include "host/record/profile.hpp"
#include "host/result.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::record {

constexpr int kRecordSchema = 1;
constexpr std::uint64_t kMaxRecordBytes = 512ull << 20;

/// What an import keeps instead of raw codes: the samples in SI units and where they came from.
struct ImportedData {
    std::vector<std::string> source_files;
    capture::Observation observation;
};

/// Exactly one of `raw` and `imported` is present. `notes` are all notes: the user's and those of
/// the measurement (RawMeasurement::notes is not kept apart).
struct Record {
    std::string tool_version;
    std::string time_utc; ///< "2026-01-31T09:36:12Z"
    std::string
        standard; ///< name in the table of sync standards, "free" for own settings, "" unknown
    bool complete =
        true; ///< false: the measurement was stopped or cut off; what is here is still good
    std::vector<std::string> notes;
    std::optional<Profile> profile;
    std::optional<PowerRecord> power; ///< nothing: an import, or a record of an older version
    analysis::FigureSet figures; ///< as the writing version found them; `analyse` makes new ones
    std::optional<capture::RawMeasurement> raw;
    std::optional<ImportedData> imported;
};

/// The samples of either kind, in SI units. Pure.
[[nodiscard]] capture::Observation observation_of(const Record& record);

[[nodiscard]] std::string to_json_text(const Record& record);

/// Everything a later calculation relies on is checked here: sizes that must agree, ranges, order
/// in time. file is only for messages.
[[nodiscard]] Result<Record> from_json_text(const std::string& text, const std::string& file);

[[nodiscard]] Status save_record(const Record& record, const std::string& path, IfExists if_exists);
[[nodiscard]] Result<Record> load_record(const std::string& path);

} // namespace yokedock::record
