// SPDX-License-Identifier: MIT
// The pins of the step drives, OC5A and OC5B: timer 5 runs freely on the tick axis and sets or
// clears a pin where it equals the pin's compare register, so that an edge stands at its exact
// tick. Main loop only.
//
// A pin changes one tick after the match, as those of timer 1 do: OCR5x is the tick less 1.
#pragma once
#include "firmware/ports/avr/state.hpp"

namespace yokedock {
namespace firmware {

constexpr uint8_t kStepClear = (1 << COM5A1) | (1 << COM5B1);
constexpr uint8_t kStepSet = kStepClear | (1 << COM5A0) | (1 << COM5B0);
constexpr uint8_t kStepVertical = (1 << COM5A1) | (1 << COM5A0); ///< the vertical one's bits
constexpr uint8_t kStepHorizontal = (1 << COM5B1) | (1 << COM5B0);

/// The pin goes to this level at the next tick whose low half this is. False: that tick is too
/// near.
inline bool arm_step_pin(bool horizontal, uint16_t low, bool on) {
    InterruptLock lock; // from the look at the count on nothing may come between
    const uint16_t match = static_cast<uint16_t>(low - 1);
    const int16_t ahead = static_cast<int16_t>(static_cast<uint16_t>(match - TCNT5));
    if (ahead >= 0 && ahead < 40) {
        return false;
    }
    const uint8_t what = on ? kStepSet : kStepClear;
    if (horizontal) {
        OCR5B = match;
        TCCR5A = what & kStepHorizontal;
        TIFR5 = 1 << OCF5B;
    } else {
        OCR5A = match;
        TCCR5A = what & kStepVertical;
        TIFR5 = 1 << OCF5A;
    }
    return true;
}

inline bool step_pin_passed(bool horizontal) {
    return (TIFR5 & (horizontal ? 1 << OCF5B : 1 << OCF5A)) != 0;
}

/// Low at once: the pins are the port's, and the units' own levels cleared for the next time.
inline void step_pin_off() {
    TCCR5A = kStepClear;
    TCCR5C = (1 << FOC5A) | (1 << FOC5B);
    TCCR5A = 0;
}

} // namespace firmware
} // namespace yokedock
