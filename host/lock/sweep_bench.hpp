// SPDX-License-Identifier: MIT
// Runs the steps of a sweep on a bench.
#pragma once
#include "host/bench/bench.hpp"
#include "host/capture/schedules.hpp"
#include "host/lock/judge.hpp"
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

constexpr double kSameRateHz = 1e-6;

/// Knows at which rate the board is locked, so that steps from lock need not start anew. The bench
/// must outlive it. Leaves sync as the last step had it: who owns the bench switches off.
class SweepBench {
  public:
    /// guarding: whether the bench guards the supply, and wants its channels looked at.
    SweepBench(bench::Bench& bench, SweepSettings settings,
               capture::Guarding guarding = capture::Guarding::kNone);

    /// Blocks for the step's bench time. Errors as Bench and run_capture; the board is then taken
    /// to be not locked.
    [[nodiscard]] Result<StepResult> run(const SweepStep& step);

    /// Takes over what a step told that was run before, so that a sweep goes on as if it had not
    /// been stopped.
    void remember(const StepResult& result);

  private:
    [[nodiscard]] Result<StepResult> run_step(const SweepStep& step);
    [[nodiscard]] Status set_rate(double rate_hz);
    [[nodiscard]] Status release(double seconds);
    [[nodiscard]] Status wait_s(double seconds);
    [[nodiscard]] Status switch_on();
    [[nodiscard]] Status glide(const SweepStep& step); ///< from lock to its rate
    [[nodiscard]] Status go_to(double rate_hz, double settle_s);
    /// Locks at the anchor and ramps to from_hz; false: the board would not follow (reason_).
    [[nodiscard]] Result<bool> lock_at(const SweepStep& step);
    [[nodiscard]] Result<bool> lock_at_anchor(const SweepStep& step);
    [[nodiscard]] Status ramp(const SweepStep& step, bool again);
    [[nodiscard]] StepResult no_lock_to_leave(const SweepStep& step) const;
    void add_rates(StepResult& r) const;
    [[nodiscard]] double elapsed_s() const;
    /// Watches for `seconds`, in which the phase must stand still for steady_s; switches sync on
    /// first when `from_off`.
    [[nodiscard]] Result<Verdict> watch(double seconds, double steady_s, bool from_off);

    bench::Bench& bench_;
    SweepSettings settings_;
    capture::Guarding guarding_;
    capture::TickAxis axis_;
    std::optional<std::int64_t> begin_ticks_;
    std::optional<bench::SyncReport> report_;
    double rate_hz_ = 0;   ///< set
    double sync_part_ = 1; ///< of the step that runs
    double locked_hz_ = 0; ///< 0: not locked, or not known
    double anchor_hz_ = 0; ///< a rate that locked from free run
    double free_run_hz_ = 0;
    std::string reason_; ///< why lock_at failed
};

} // namespace yokedock::lock
