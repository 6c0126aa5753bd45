// SPDX-License-Identifier: MIT
// Which step of a sweep comes next, and what the steps so far say. Pure: the same settings and the
// same results give the same next step and the same summary, so a log that is replayed goes on
// where it stopped.
#pragma once
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

class SweepSearch {
  public:
    /// settings must have passed check_sweep().
    explicit SweepSearch(SweepSettings settings);

    /// The step to run now; nothing when the sweep is complete.
    [[nodiscard]] std::optional<SweepStep> next() const { return next_; }
    /// The result of the step next() gave. A result of another step is a caller's bug (asserted).
    void add(const StepResult& result);

    [[nodiscard]] SweepSummary summary() const;
    [[nodiscard]] double part_done() const;    ///< 0 to 1, an estimate
    [[nodiscard]] double seconds_left() const; ///< of bench time, an estimate

  private:
    void walk();

    SweepSettings settings_;
    std::vector<StepResult> results_;
    std::optional<SweepStep> next_;
    SweepSummary summary_;
};

/// Bench seconds that the definition of the limits cannot do without: a dwell on either side of
/// every limit found, the acquisition times, the free runs.
[[nodiscard]] double least_seconds(const SweepSummary& summary);

/// What the summary means, in sentences, most important first; and what contradicts itself.
void add_findings(SweepSummary& summary);

} // namespace yokedock::lock
