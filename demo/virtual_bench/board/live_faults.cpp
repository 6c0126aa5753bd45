// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/board/live_faults.hpp"
#include <algorithm>
#include <cmath>
#include <limits>

namespace yokedock::sim {

namespace {
constexpr double kNever = std::numeric_limits<double>::infinity();
}

/// Length of the state it is in: exponential, never 0.
double LiveFaults::drawn(State& state) {
    const FaultIntermittent& times = *state.use.intermittent;
    return -(state.on ? times.on_s : times.off_s) * std::log(1 - state.random.uniform()) + 1e-6;
}

double LiveFaults::part_of(const State& state, double sink_c) {
    if (!state.on) {
        return 0;
    }
    if (!state.use.heat) {
        return 1;
    }
    const FaultHeat& heat = *state.use.heat;
    const double share = std::clamp((sink_c - heat.from_c) / (heat.to_c - heat.from_c), 0.0, 1.0);
    return std::floor(share / kPartStep + 0.5) * kPartStep;
}

LiveFaults::LiveFaults(const BoardParameters& healthy, const std::vector<FaultUse>& faults,
                       double sink_c)
    : healthy_(healthy), next_look_s_(kNever) {
    for (const FaultUse& use : faults) {
        State state{use, Random(use.intermittent ? use.intermittent->seed : 0), true, kNever, 0};
        if (use.intermittent) {
            const FaultIntermittent& times = *use.intermittent;
            state.on = state.random.uniform() < times.on_s / (times.on_s + times.off_s);
            state.switch_s = drawn(state);
        }
        state.part = part_of(state, sink_c);
        faults_.push_back(state);
    }
    plan(0);
}

void LiveFaults::plan(double time_s) {
    next_look_s_ = kNever;
    for (const State& state : faults_) {
        next_look_s_ = std::min(next_look_s_, state.switch_s);
        if (state.use.heat) {
            next_look_s_ = std::min(next_look_s_, time_s + kHeatLookS);
        }
    }
}

bool LiveFaults::look(double time_s, double sink_c) {
    bool changed = false;
    for (State& state : faults_) {
        while (state.switch_s <= time_s) {
            state.on = !state.on;
            state.switch_s += drawn(state);
        }
        const double part = part_of(state, sink_c);
        changed = changed || part != state.part;
        state.part = part;
    }
    plan(time_s);
    return changed;
}

BoardParameters LiveFaults::parameters() const {
    BoardParameters p = healthy_;
    for (const State& state : faults_) {
        apply_fault(p, *state.use.fault, state.use.severity, state.part);
    }
    return p;
}

} // namespace yokedock::sim
