// SPDX-License-Identifier: MIT
// Plays a list of register writes, received over the serial line: count, then per step overflow
// number (16 bits), TCNT1 to wait for (16), address (16), value (8), little-endian. Overflow number
// 0xFFFF: write at once.
#include "tests/avr/chip_images/serial.hpp"

namespace {
struct Step {
    uint16_t overflow;
    uint16_t count;
    uint16_t address;
    uint8_t value;
};
Step steps[100];

uint16_t get_word() {
    const uint8_t low = serial_get();
    return static_cast<uint16_t>(low | (serial_get() << 8));
}
} // namespace

int main() {
    serial_begin();
    const uint8_t steps_count = serial_get();
    for (uint8_t i = 0; i < steps_count; ++i) {
        steps[i].overflow = get_word();
        steps[i].count = get_word();
        steps[i].address = get_word();
        steps[i].value = serial_get();
    }
    uint16_t overflows = 0;
    for (uint8_t i = 0; i < steps_count; ++i) {
        const Step step = steps[i];
        if (step.overflow != 0xFFFF) {
            while (overflows < step.overflow) {
                if ((TIFR1 & _BV(TOV1)) != 0) {
                    TIFR1 = _BV(TOV1);
                    ++overflows;
                }
            }
            while (TCNT1 < step.count) {
            }
        }
        *reinterpret_cast<volatile uint8_t*>(step.address) = step.value;
    }
    serial_put('.');
    for (;;) {
    }
}
