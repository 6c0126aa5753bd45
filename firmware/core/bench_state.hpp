// SPDX-License-Identifier: MIT
// Whether the board's supply may be on, and which relays are closed: the one place that decides it.
// Pure: takes what happened and how much time passed, gives the relays. The limits of readings are
// in guard.hpp.
//
//           check            start                 bypass
//   idle ----------> checked -------> starting -----------------> live
//    ^  ^               | any reason     | any reason, too slow     | any reason
//    |  +---------------+ to stop        v                          v
//    +------------------------------- tripped <---------------------+     power_off from anywhere:
//    idle
//          power_off (told and seen)
//
// Relays: K1 board supply, K2 soft-start bypass, K3 and K4 loads, K5 step drive.
//   idle      none; K5 while a load step runs: loads at rest hang on the step drive
//   checked   the loads asked for: they close with the supply off
//   starting  loads, whose contacts have settled, and K1
//   live      loads, K1, K2
//   tripped, or off after having been on: K1 and K2 open at once; the loads follow after kHoldMs,
//             for a load that opens while the board still runs down would be switched under current
// After a load step K5 stays for kStepHoldMs, until its current has died down.
#pragma once
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace firmware {

constexpr uint8_t kRelaySupply = 0x01;     ///< K1
constexpr uint8_t kRelayBypass = 0x02;     ///< K2
constexpr uint8_t kRelayVertical = 0x04;   ///< K3
constexpr uint8_t kRelayHorizontal = 0x08; ///< K4
constexpr uint8_t kRelayStep = 0x10;       ///< K5
constexpr uint8_t kRelayLoads = kRelayVertical | kRelayHorizontal;

constexpr uint16_t kContactMs = 30; ///< a relay's contacts have settled (data sheets: 10 to 15 ms)
constexpr uint16_t kHoldMs = 500;   ///< loads stay closed after the supply opened
constexpr uint16_t kStepHoldMs = 100;  ///< ten time constants of the slowest load, 10 ms
constexpr uint16_t kCheckedMs = 30000; ///< a check is old after this

class BenchMachine {
  public:
    using State = wire::BenchState;
    using Cause = wire::StopCause;

    BenchMachine() = default;
    /// After a reset whatever was on is off. A reset that nobody asks for is a trip; a serial
    /// adapter pulls the reset pin when a host connects.
    explicit BenchMachine(wire::ResetCause cause) {
        switch (cause) {
        case wire::ResetCause::watchdog_reset:
            state_ = State::tripped;
            cause_ = Cause::watchdog;
            break;
        case wire::ResetCause::brown_out:
            state_ = State::tripped;
            cause_ = Cause::brown_out;
            break;
        case wire::ResetCause::external:
            cause_ = Cause::reset_pin;
            break;
        case wire::ResetCause::power:
            break;
        }
    }

    State state() const { return state_; }
    Cause cause() const { return cause_; }
    /// The supply relay is closed, or may be within milliseconds.
    bool supply_on() const { return state_ == State::starting || state_ == State::live; }
    /// Milliseconds in the present state; stands still at 65535.
    uint16_t age_ms() const { return age_ms_; }

    uint8_t relays() const {
        switch (state_) {
        case State::idle:
            return step_relays_ != 0 ? step_relays_ : hold_ms_ != 0 ? loads_ : uint8_t{0};
        case State::checked:
            return loads_;
        case State::starting:
            return static_cast<uint8_t>(loads_ | kRelaySupply);
        case State::live:
            return static_cast<uint8_t>(loads_ | kRelaySupply | kRelayBypass);
        case State::tripped:
            break;
        }
        return hold_ms_ != 0 ? loads_ : uint8_t{0};
    }

    wire::StepState step() const { return step_; }
    /// A load step is on its way: its drive may be on.
    bool stepping() const {
        return step_ == wire::StepState::closing || step_ == wire::StepState::running;
    }

    // ---- requests: false where the state does not allow it; nothing has changed then

    /// The caller has found stop loop, comparator, reference and rail good. loads: kRelayVertical,
    /// kRelayHorizontal or both.
    bool check(uint8_t loads) {
        if (state_ != State::idle || step_relays_ != 0 || hold_ms_ != 0) {
            return false;
        }
        loads_ = static_cast<uint8_t>(loads & kRelayLoads);
        enter(State::checked);
        return true;
    }

    bool start() {
        if (state_ != State::checked || age_ms_ < kContactMs) {
            return false;
        }
        enter(State::starting);
        return true;
    }

    /// The caller has found the rail up.
    bool bypass() {
        if (state_ != State::starting || age_ms_ < 2 * kContactMs) {
            return false;
        }
        enter(State::live);
        return true;
    }

    /// The caller has found the rail off.
    bool begin_step() {
        if (state_ != State::idle || step_relays_ != 0 || hold_ms_ != 0) {
            return false;
        }
        step_relays_ = kRelayStep;
        step_ = wire::StepState::closing;
        return true;
    }
    /// The drive went on for the first time.
    void run_step() {
        if (step_ == wire::StepState::closing) {
            step_ = wire::StepState::running;
        }
    }
    /// The drive is off.
    void end_step(bool done) {
        if (stepping()) {
            step_ = done ? wire::StepState::done : wire::StepState::stopped;
            step_hold_ms_ = kStepHoldMs;
        }
    }

    /// Off: always obeyed. It also acknowledges a trip, whose cause is kept and told.
    void power_off() {
        end_step(false);
        if (supply_on()) {
            cause_ = Cause::asked;
            hold_ms_ = kHoldMs;
        }
        if (state_ != State::idle) {
            enter(State::idle);
        }
    }

    /// A reason to be off: supply off at once. Where nothing was on, only what was prepared is
    /// undone.
    void stop(Cause cause) {
        if (stepping()) {
            cause_ = cause;
            end_step(false);
        }
        if (supply_on()) {
            cause_ = cause;
            hold_ms_ = kHoldMs;
            enter(State::tripped);
        } else if (state_ == State::checked) {
            cause_ = cause;
            enter(State::idle);
        }
    }

    /// Time goes on, in steps of at most a few milliseconds.
    void pass_ms(uint16_t ms) {
        age_ms_ = static_cast<uint16_t>(age_ms_ + ms) < age_ms_
                      ? 0xFFFF
                      : static_cast<uint16_t>(age_ms_ + ms);
        hold_ms_ = hold_ms_ > ms ? static_cast<uint16_t>(hold_ms_ - ms) : uint16_t{0};
        step_hold_ms_ =
            step_hold_ms_ > ms ? static_cast<uint16_t>(step_hold_ms_ - ms) : uint16_t{0};
        if (step_relays_ != 0 && !stepping() && step_hold_ms_ == 0) {
            step_relays_ = 0;
        }
        if (state_ == State::checked && age_ms_ > kCheckedMs) {
            stop(Cause::check_expired);
        }
    }

  private:
    void enter(State state) {
        state_ = state;
        age_ms_ = 0;
    }

    State state_ = State::idle;
    Cause cause_ = Cause::none;
    uint8_t loads_ = 0;
    uint8_t step_relays_ = 0; ///< K5, while a load step has it closed
    wire::StepState step_ = wire::StepState::none;
    uint16_t step_hold_ms_ = 0;
    uint16_t age_ms_ = 0;
    uint16_t hold_ms_ = 0;
};

} // namespace firmware
} // namespace yokedock
