// SPDX-License-Identifier: MIT
#pragma once
#include "host/record/append_file.hpp"
#include "host/record/sweep_log.hpp"

namespace yokedock::record {

/// Writes a sweep log, each line whole and synced before the call returns: whatever happens to the
/// program or the machine then, that line is in the file. Movable. Blocks for the disc.
class SweepLogWriter {
  public:
    /// A new log with its header. It appears under its name with the header or not at all.
    [[nodiscard]] static Result<SweepLogWriter>
    create(const std::string& path, const SweepLogHeader& header, IfExists if_exists);
    /// Goes on with a log as it was read; a torn last line is cut off. Adds `resumed`.
    [[nodiscard]] static Result<SweepLogWriter> resume(const std::string& path, const SweepLog& log,
                                                       const SweepLogEvent& resumed);

    [[nodiscard]] Status add(std::size_t sweep, const lock::StepResult& result) {
        return file_.append(step_line(sweep, result));
    }
    [[nodiscard]] Status end(std::size_t sweep, const lock::SweepSummary& summary) {
        return file_.append(end_line(sweep, summary));
    }
    [[nodiscard]] Status add(const SweepLogEvent& event) { return file_.append(event_line(event)); }

    [[nodiscard]] const std::string& path() const { return file_.path(); }

  private:
    explicit SweepLogWriter(AppendFile file) : file_(std::move(file)) {}
    AppendFile file_;
};

} // namespace yokedock::record
