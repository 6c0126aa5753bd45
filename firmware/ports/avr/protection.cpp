// SPDX-License-Identifier: MIT
// The two inputs that take the supply off without the main loop: over-current comparator (INT0) and
// stop loop (INT1), the interrupts of highest priority. Each opens K1 and K2, leaves a note and
// shuts itself out until the main loop rearms it: a chattering input must not eat the time of the
// sync. No register and no flag is touched, so nothing is saved: 8 cycles and the return.
#include "firmware/ports/avr/protection.hpp"
#include "firmware/ports/avr/state.hpp"

namespace yokedock {
namespace firmware {

void rearm_protection() {
    InterruptLock lock;
    EICRA = (1 << ISC01) | (1 << ISC00) | (1 << ISC11) | (1 << ISC10); // rising edges
    EIFR = (1 << INTF0) | (1 << INTF1);
    GPIOR0 &= static_cast<uint8_t>(~((1 << kOverCurrentSeenBit) | (1 << kStopSeenBit)));
    EIMSK |= (1 << INT0) | (1 << INT1);
}

} // namespace firmware
} // namespace yokedock

#define YOKEDOCK_OPEN_SUPPLY(note, source)                                                         \
    asm volatile("cbi  %[relays], 0    \n\t" /* K1 first */                                        \
                 "cbi  %[relays], 1    \n\t"                                                       \
                 "sbi  %[notes], %[bit] \n\t"                                                      \
                 "cbi  %[mask], %[int_bit] \n\t"                                                   \
                 "reti                 \n\t" ::[relays] "I"(_SFR_IO_ADDR(YOKEDOCK_RELAY_PORT)),    \
                 [notes] "I"(_SFR_IO_ADDR(GPIOR0)), [bit] "I"(note),                               \
                 [mask] "I"(_SFR_IO_ADDR(EIMSK)), [int_bit] "I"(source))

ISR(INT0_vect, ISR_NAKED) {
    YOKEDOCK_OPEN_SUPPLY(yokedock::firmware::kOverCurrentSeenBit, INT0);
}

ISR(INT1_vect, ISR_NAKED) {
    YOKEDOCK_OPEN_SUPPLY(yokedock::firmware::kStopSeenBit, INT1);
}
