// SPDX-License-Identifier: MIT
#include "firmware/core/device.hpp"
#include "firmware/ports/avr/hardware.hpp"
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

namespace {
using namespace yokedock::firmware;

AvrHardware hardware;
Device<AvrHardware> device(hardware);

/// Sleeps until the next interrupt, unless a byte came since the last look. sei() lets one more
/// instruction run before any interrupt: none can slip in between it and sleep.
void sleep_until_interrupt() {
    cli();
    if (receive_waiting()) {
        sei();
        return;
    }
    sleep_enable();
    sei();
    sleep_cpu();
    sleep_disable();
}
} // namespace

int main() {
    set_sleep_mode(SLEEP_MODE_IDLE);
    device.begin();
    wdt_enable(WDTO_250MS);
    hardware.begin(); // last: the slots run from here on, and wait for nobody
    sei();
    for (;;) {
        wdt_reset();
        hardware.poll();
        const bool busy = device.poll();
        if (busy) {
            pump();
        } else if (keep_sending()) {
            // Nothing wakes for the line: stay with it, a few bytes at a time, but not beyond the
            // frame's end: the next one, if it is ready, must follow at once. One byte at least:
            // bytes that wait behind a request whose answer has no buffer yet stay there until
            // a frame has gone out.
            uint8_t n = 0;
            do {
                pump();
            } while (++n < 100 && sending.left != 0 && !receive_waiting());
        } else {
            sleep_until_interrupt();
        }
    }
}
