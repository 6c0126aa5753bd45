// SPDX-License-Identifier: MIT
// The step drive's pin, OC5A: timer 5 runs freely on the tick axis and sets or clears the pin where
// it equals OCR5A, so that an edge stands at its exact tick. Main loop only.
//
// The pin changes one tick after the match, as those of timer 1 do: OCR5A is the tick less 1.
#pragma once
#include "firmware/ports/avr/state.hpp"

namespace yokedock {
namespace firmware {

constexpr uint8_t kStepClear = 1 << COM5A1;
constexpr uint8_t kStepSet = (1 << COM5A1) | (1 << COM5A0);

/// The pin goes to this level at the next tick whose low half this is. False: that tick is too
/// near.
inline bool arm_step_pin(uint16_t low, bool on) {
    InterruptLock lock; // from the look at the count on nothing may come between
    const uint16_t match = static_cast<uint16_t>(low - 1);
    const int16_t ahead = static_cast<int16_t>(static_cast<uint16_t>(match - TCNT5));
    if (ahead >= 0 && ahead < 40) {
        return false;
    }
    OCR5A = match;
    TCCR5A = on ? kStepSet : kStepClear;
    TIFR5 = 1 << OCF5A;
    return true;
}

inline bool step_pin_passed() {
    return (TIFR5 & (1 << OCF5A)) != 0;
}

/// Low at once: the pin is the port's, and the unit's own level cleared for the next time.
inline void step_pin_off() {
    TCCR5A = kStepClear;
    TCCR5C = 1 << FOC5A;
    TCCR5A = 0;
}

} // namespace firmware
} // namespace yokedock
