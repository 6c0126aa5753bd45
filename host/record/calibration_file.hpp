// SPDX-License-Identifier: MIT
// The host's copy of a bench's calibration: every point it was made from, so that it can be made
// again, checked and gone on with. docs/calibration.md describes the file.
#pragma once
#include "host/capture/calibration.hpp"
#include "host/record/file.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::record {

constexpr int kCalibrationSchema = 1;
constexpr std::uint64_t kMaxCalibrationBytes = 1u << 20;
constexpr std::size_t kMostCalibrationPoints = 2000;

struct CalibrationFile {
    std::uint32_t bench_serial = 0;
    std::string time_utc;   ///< of the newest entry
    std::string stored_utc; ///< when it was last stored in the bench; "" never
    bool simulated = false;
    std::vector<capture::CalibrationPoint> points;
    std::optional<capture::Stated> clock_relative;
    std::optional<capture::Stated> adc_reference_v;
    std::optional<capture::Stated> trigger_delay_s;
};

/// All results that the file's entries give. date_s: of the calibration. Errors: those of
/// capture::fit_channel.
[[nodiscard]] Result<capture::Calibration> results_of(const CalibrationFile& file,
                                                      std::uint32_t date_s);

[[nodiscard]] std::string calibration_text(const CalibrationFile& file);
/// file is only for messages, which name key and what was expected.
[[nodiscard]] Result<CalibrationFile> calibration_from_text(const std::string& text,
                                                            const std::string& file);
[[nodiscard]] Result<CalibrationFile> load_calibration(const std::string& path);
[[nodiscard]] Status save_calibration(const CalibrationFile& file, const std::string& path);

/// "2026-01-31T09:36:12Z" as seconds since 1970; nothing when it is no such time.
[[nodiscard]] std::optional<std::uint32_t> seconds_of_utc(const std::string& utc);
/// The date of it: "2026-01-31".
[[nodiscard]] std::string date_of_seconds(std::uint32_t seconds);

} // namespace yokedock::record
