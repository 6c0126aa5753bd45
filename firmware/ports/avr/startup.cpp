// SPDX-License-Identifier: MIT
// The first instructions after reset, before memory is set up: relays off before anything else (the
// reset itself has made their pins inputs, which is off too), then the reset cause is kept and the
// watchdog, which may still run from before, stopped (data sheet, "Watchdog Timer": clear WDRF
// first).
#include "firmware/ports/avr/startup.hpp"
#include "firmware/ports/avr/pins.hpp"
#include <avr/wdt.h>

namespace {
uint8_t reset_flags __attribute__((section(".noinit")));
}

extern "C" void yokedock_keep_reset_cause() __attribute__((naked, used, section(".init3")));
extern "C" void yokedock_keep_reset_cause() {
    YOKEDOCK_RELAY_PORT = 0;
    YOKEDOCK_RELAY_DDR = yokedock::firmware::kRelayMask;
    reset_flags = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

namespace yokedock {
namespace firmware {

uint8_t saved_reset_flags() {
    return reset_flags;
}

} // namespace firmware
} // namespace yokedock
