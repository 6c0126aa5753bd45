// SPDX-License-Identifier: MIT
// The log of lock sweeps: JSON Lines, one complete line per event in the order of events.
// docs/sweep.md describes the file.
//
//   header                     written first, once
//   step step ... end          of sweep 0
//   step step ... end          of sweep 1, which begins when sweep 0 has ended, and so on
//   stopped, resumed           anywhere after the header
//
// A last line without its newline was being written when the program or the machine died: it is
// left out with a warning. Damage anywhere else is an error.
#pragma once
#include "host/capture/raw_capture.hpp"
#include "host/lock/sweep_types.hpp"
#include "host/record/file.hpp"
#include "host/record/power_record.hpp"
#include "host/result.hpp"
#include <optional>
#include <string>
#include <vector>

namespace yokedock::record {

constexpr const char* kSweepLogFormat = "yokedock sweep log";
constexpr int kSweepLogSchema = 1;
constexpr std::uint64_t kMaxSweepLogBytes = 256ull << 20;

/// The bench that made the steps.
struct SweepBenchInfo {
    wire::IdentifyAnswer identity;
    std::string transport;
    std::string address;
    bool simulated = false;
    double clock_u_relative = kClockTolerancePpm * 1e-6;
};

/// Everything needed to run the sweeps again.
struct SweepLogHeader {
    std::string tool_version;
    std::string time_utc;
    std::string standard; ///< name in the table of sync standards, or "free"
    std::vector<std::string> notes;
    SweepBenchInfo bench;
    std::optional<PowerRecord> power;        ///< of the program that began it
    bool repeats = false;                    ///< --watch: the list of sweeps is run again and again
    std::vector<lock::SweepSettings> sweeps; ///< at least one
};

/// What happened to the program while it swept.
struct SweepLogEvent {
    enum class Kind { kStopped, kResumed };
    Kind kind = Kind::kStopped;
    std::string time_utc;
    std::string tool_version;
    std::string text; ///< stopped: why; resumed: address of the bench
};

/// One sweep of a log.
struct SweepRun {
    std::vector<lock::StepResult> steps;
    std::optional<lock::SweepSummary> summary; ///< of its end line
};

struct SweepLog {
    SweepLogHeader header;
    std::vector<SweepRun> runs; ///< those begun; run i has the settings settings_of(header, i)
    std::vector<SweepLogEvent> events;
    std::uint64_t good_bytes = 0; ///< length of the file up to its last complete line
    std::string warning;          ///< about a torn last line; "" none
};

/// Settings of the sweep of this number; with `repeats` the list starts again at its end.
[[nodiscard]] const lock::SweepSettings& settings_of(const SweepLogHeader& header,
                                                     std::size_t sweep);
/// Every sweep of the header has ended. Never for one that repeats.
[[nodiscard]] bool is_complete(const SweepLog& log);

/// One line each, with its newline. Numbers are written so that they are read back the same.
[[nodiscard]] std::string header_line(const SweepLogHeader& header);
[[nodiscard]] std::string step_line(std::size_t sweep, const lock::StepResult& result);
[[nodiscard]] std::string end_line(std::size_t sweep, const lock::SweepSummary& summary);
[[nodiscard]] std::string event_line(const SweepLogEvent& event);

/// kFile with line number and key for anything but a torn last line. file is only for messages.
[[nodiscard]] Result<SweepLog> sweep_log_from_text(std::string_view text, const std::string& file);
[[nodiscard]] Result<SweepLog> load_sweep_log(const std::string& path);

} // namespace yokedock::record
