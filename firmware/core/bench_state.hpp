// SPDX-License-Identifier: MIT
// Whether the board's supply may be on. Nothing here switches it on: this version has no energise
// stage, so `checked`, `starting` and `live` are never entered by a request; the ways out of them
// are all here.
//
//            energise (later)                      power_off
//   idle --------------------> checked --> starting --> live ---------> idle
//    ^  power_off                 | silence, stop, over-current: idle    | the same: tripped
//    +----------------------- tripped <---------------------------------+
#pragma once
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace firmware {

class BenchMachine {
  public:
    BenchMachine() = default;
    explicit BenchMachine(wire::ResetCause cause) {
        if (cause ==
            wire::ResetCause::watchdog_reset) { // what was on then is not known: stay tripped
            state_ = wire::BenchState::tripped;
            cause_ = wire::StopCause::watchdog;
        }
    }

    wire::BenchState state() const { return state_; }
    wire::StopCause cause() const { return cause_; }
    /// Any relay may be closed only while this is true.
    bool supply_on() const {
        return state_ == wire::BenchState::starting || state_ == wire::BenchState::live;
    }

    /// The host asked for off: always obeyed, and acknowledges a trip (its cause is kept and told).
    void power_off() {
        if (supply_on()) {
            cause_ = wire::StopCause::asked;
        }
        state_ = wire::BenchState::idle;
    }

    /// A reason to be off: supply off at once. Does nothing where nothing was on or prepared.
    void stop(wire::StopCause cause) {
        if (supply_on()) {
            state_ = wire::BenchState::tripped;
            cause_ = cause;
        } else if (state_ == wire::BenchState::checked) {
            state_ = wire::BenchState::idle;
            cause_ = cause;
        }
    }

    /// Seam of the energise stages: only their code and the tests of the ways out call it.
    void enter(wire::BenchState state) { state_ = state; }

  private:
    wire::BenchState state_ = wire::BenchState::idle;
    wire::StopCause cause_ = wire::StopCause::none;
};

} // namespace firmware
} // namespace yokedock
