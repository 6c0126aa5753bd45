// SPDX-License-Identifier: MIT
// One pass through a sweep as far as its results reach. Inside the module only.
#pragma once
#include "host/lock/sweep_types.hpp"

namespace yokedock::lock {

class SweepWalk {
  public:
    SweepWalk(const SweepSettings& settings, const std::vector<StepResult>& results)
        : settings_(settings), results_(results) {
        summary.settings = settings;
    }
    /// Goes on until a result is wanting (`wanted`) or all is known.
    void run();

    std::optional<SweepStep> wanted;
    SweepSummary summary;

  private:
    enum class Side { kDown, kUp };

    /// The result of this step; nullptr when it is not there yet: then every caller returns false.
    /// ramp_step_hz: 0 for coarse steps on the way to from_hz.
    const StepResult* ask(SweepPart part, Approach approach, double rate_hz, double from_hz = 0,
                          double ramp_step_hz = 0);
    bool free_run(SweepPart part, std::optional<analysis::Figure>& figure);
    bool find_anchor();
    bool hold(Side side, Limit& limit);
    bool come_back(Side side, const Limit& held, Limit& limit);
    bool pull_in(Side side, const Limit& held, Limit& limit);

    const SweepSettings& settings_;
    const std::vector<StepResult>& results_;
    std::size_t at_ = 0;
    double anchor_hz_ = 0; ///< a rate at which the board locks
    double anchor_acquired_s_ = -1;
};

[[nodiscard]] double default_dwell_s(const SweepSettings& settings);

} // namespace yokedock::lock
