// SPDX-License-Identifier: MIT
#pragma once
#include "firmware/ports/avr/pins.hpp"

namespace yokedock {
namespace firmware {

/// Main loop: forgets what the inputs have said, and listens to them again.
void rearm_protection();

/// An input stands against the supply now, or has since rearm_protection().
inline bool over_current_seen() {
    return (PIND & kOverCurrentPin) != 0 || (GPIOR0 & (1 << kOverCurrentSeenBit)) != 0;
}
inline bool stop_seen() {
    return (PIND & kStopPin) != 0 || (GPIOR0 & (1 << kStopSeenBit)) != 0;
}

} // namespace firmware
} // namespace yokedock
