// SPDX-License-Identifier: MIT
// Words of a lock sweep: what is asked of the bench, what it saw, what follows (MEASUREMENTS
// section 4). Plain values: the log keeps them, the search decides on them, the report shows them.
#pragma once
#include "host/analysis/figure.hpp"
#include "shared/wire/messages.hpp"
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace yokedock::lock {

enum class SweepAxis { kVertical, kHorizontal };

/// What a board does with the sync it is given. One table: X(name, word).
#define YOKEDOCK_LOCK_STATES(X)                                                                    \
    X(locked, "locked")                                                                            \
    X(slipping, "slipping")         /* pulled by sync, but loses periods against it */             \
    X(free_running, "free-running") /* its own rate, as without sync */                            \
    X(no_pulse, "no retrace pulse")                                                                \
    X(half_rate, "locked at half rate")                                                            \
    X(double_rate, "locked at double rate")                                                        \
    X(other_ratio, "locked at another ratio")                                                      \
    X(undecided, "undecided")
enum class BoardState : std::uint8_t {
#define X(name, word) name,
    YOKEDOCK_LOCK_STATES(X)
#undef X
};
[[nodiscard]] const char* word(BoardState state);
[[nodiscard]] std::optional<BoardState> board_state(const std::string& word);

/// The parts of a sweep, in the order they are run. One table: X(name, word, text).
#define YOKEDOCK_SWEEP_PARTS(X)                                                                    \
    X(free_run_before, "free_run_before", "free run, sync removed, at the start")                  \
    X(nominal, "nominal", "lock at the set rate")                                                  \
    X(hold_down, "hold_down", "slowly down from lock until it is lost")                            \
    X(return_up, "return_up", "slowly back up until lock is regained")                             \
    X(hold_up, "hold_up", "slowly up from lock until it is lost")                                  \
    X(return_down, "return_down", "slowly back down until lock is regained")                       \
    X(pull_in_down, "pull_in_down", "lowest rate found again after sync was removed")              \
    X(pull_in_up, "pull_in_up", "highest rate found again after sync was removed")                 \
    X(free_run_after, "free_run_after", "free run, sync removed, at the end")
enum class SweepPart : std::uint8_t {
#define X(name, word, text) name,
    YOKEDOCK_SWEEP_PARTS(X)
#undef X
};
[[nodiscard]] const char* word(SweepPart part);
[[nodiscard]] const char* text(SweepPart part);
[[nodiscard]] std::optional<SweepPart> sweep_part(const std::string& word);

/// How the bench gets to the step's rate.
enum class Approach : std::uint8_t {
    kNoSync,   ///< sync removed; watch the free run
    kDirect,   ///< sync on at this rate at once
    kFromLock, ///< lock at the nominal rate, ramp to from_hz in steps of at most ramp_step_hz
               ///< without losing lock, then to rate_hz; when the board is locked at from_hz, just
               ///< go
    kFromNoLock, ///< as kFromLock's last step, but lock is not expected at from_hz
    kFromFreeRun ///< sync removed until the board free-runs, then sync at this rate at once
};

struct SweepStep {
    std::uint32_t number = 0; ///< counts from 0
    SweepPart part = SweepPart::free_run_before;
    Approach approach = Approach::kNoSync;
    double rate_hz = 0; ///< asked for, of the axis swept; 0: sync off
    double from_hz = 0;
    double ramp_step_hz = 0;
    double dwell_s = 0;   ///< least time the decision is made over
    double acquire_s = 0; ///< time given to find lock (kDirect, kFromFreeRun), or to settle
};

struct StepResult {
    SweepStep step;
    double time_s = 0;        ///< bench time at the end of the step, since the sweep's start
    double achieved_hz = 0;   ///< as the device reports it; 0: sync off
    double other_rate_hz = 0; ///< of the axis not swept
    std::uint16_t half_lines = 0;
    BoardState state = BoardState::undecided;
    std::string reason;  ///< one sentence
    double board_hz = 0; ///< rate of the retrace edges; 0 when there are none
    double board_u_hz = 0;
    double phase = 0; ///< of retrace against sync, periods, 0 to 1; meaning only when locked
    double phase_u = 0;
    double jitter_s = 0;
    double acquired_s = -1; ///< from sync applied to lock; < 0: not locked or not timed
    long slips = 0;
    std::uint32_t edges = 0;
};

/// Everything needed to run the same sweep again. low_hz/high_hz bound every rate that is sent.
struct SweepSettings {
    SweepAxis axis = SweepAxis::kVertical;
    wire::SyncSettings sync; ///< the nominal sync
    double nominal_hz = 0;   ///< of the axis swept
    double low_hz = 0;
    double high_hz = 0;
    double step_hz = 0;       ///< coarse steps of the slow departure
    double resolution_hz = 0; ///< what limits are refined to
    double dwell_s = 0;       ///< 0: what the decision needs (see judge.hpp)
    double acquire_s = 0;     ///< time allowed for pull-in
    bool returns = true;      ///< walk back from a lost lock, too
    bool pull_in = true;
};

enum class LimitStatus : std::uint8_t {
    kFound,
    kBeyond, ///< still locked at the end of the range asked for: the limit lies beyond value_hz
    kNone,   ///< never locked on this side
    kNotMeasured
};

struct Limit {
    LimitStatus status = LimitStatus::kNotMeasured;
    double locked_hz = 0;   ///< last (or farthest) rate that locked, achieved
    double lost_hz = 0;     ///< first rate beyond that did not
    double acquired_s = -1; ///< pull-in: time it took at locked_hz
    std::string reason;     ///< when not found
    [[nodiscard]] double resolution_hz() const {
        return lost_hz > locked_hz ? lost_hz - locked_hz : locked_hz - lost_hz;
    }
};

struct SweepSummary {
    SweepSettings settings;
    bool complete = false;
    std::optional<analysis::Figure> free_run_before; ///< Hz
    std::optional<analysis::Figure> free_run_after;
    bool locks_at_nominal = false;
    BoardState nominal_state = BoardState::undecided;
    Limit hold_low, hold_high, pull_in_low, pull_in_high, return_low, return_high;
    std::vector<std::string> findings; ///< what it means, in sentences; most important first
    std::vector<std::string> flags;    ///< what contradicts itself (pull-in beyond hold)
};

} // namespace yokedock::lock
