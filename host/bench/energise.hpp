// SPDX-License-Identifier: MIT
// From a bench with its supply off to a board that runs, one stage at a time:
//
//   off        limits given; readings of the bench's own zero, where they can be had
//   checked    load relays closed; reference, stop loop, comparator and rail found good
//   starting   supply through the soft-start resistor; rail and current judged at its end
//   live       resistor bypassed
//   settled    every limit is watched; retraces are looked for
//
// Anything that stands against a stage, a trip, a lost link or a stop ends it with the supply off.
#pragma once
#include "host/bench/power_limits.hpp"
#include "host/bench/soft_start_loads.hpp"
#include "host/bench/trip.hpp"
#include "shared/channels.hpp"
#include <array>
#include <functional>

namespace yokedock::bench {

/// X(id, word). The stages, in order.
#define YOKEDOCK_ENERGISE_STAGES(X)                                                                \
    X(kOff, "off")                                                                                 \
    X(kChecked, "checked")                                                                         \
    X(kStarting, "starting")                                                                       \
    X(kLive, "live")                                                                               \
    X(kSettled, "settled")

enum class EnergiseStage {
#define X(id, word) id,
    YOKEDOCK_ENERGISE_STAGES(X)
#undef X
};

[[nodiscard]] const char* stage_word(EnergiseStage stage);

/// What the channels show over a short time.
struct StageView {
    StageReadings mean{};
    StageReadings swing{}; ///< peak to peak, of samples: a narrow pulse may be missed
};

/// What was seen at the end of a stage.
struct StageReport {
    EnergiseStage stage{};
    double time_s = 0; ///< device time since the begin of the first stage
    StageReadings readings{};
    StageReadings swing{};
    std::string not_measured; ///< why there are no readings; "" there are
};

struct EnergiseOptions {
    GuardPlan guard;
    std::optional<double> supply_idle_max_a; ///< judged at the end of the soft start
    std::optional<double> supply_max_v; ///< what feeds the soft start is judged by it there, too
    SoftStartLoads loads;               ///< judged at the end of the soft start
    bool free_run = false;              ///< the board may start without sync
    /// Reads the channels for a short time; may be empty. An error means not measured, save kLink
    /// and kStopped, which end the start.
    std::function<Result<StageView>()> read;
    std::function<void(const StageReport&)> on_stage; ///< told at the end of each; may be empty
};

struct EnergiseOutcome {
    std::vector<StageReport> stages; ///< those that came to their end
    std::vector<std::string> notes;
    std::optional<Error> error; ///< kRefused: something stands against it, or it tripped
    std::optional<Trip> trip;   ///< of a kRefused error where the bench, or a reading, said why
    bool off_confirmed = false; ///< after an error: the bench said that the supply relays are open
};

/// Blocks about soft_start_s + 2 s. Needs Bench::set_sync in this session, and sync sent unless
/// free_run. On success the supply is on and settled: who called switches it off.
[[nodiscard]] EnergiseOutcome energise(const Bench& bench, const EnergiseOptions& options);

} // namespace yokedock::bench
