// SPDX-License-Identifier: MIT
// Every pin the firmware uses. Outputs of timers are named by their compare unit.
#pragma once
#include <avr/io.h>
#include <stdint.h>

namespace yokedock {
namespace firmware {

// Relays K1 (board supply), K2 (soft start), K3 (vertical load), K4 (horizontal load), K5 (step
// drive): high is on. The drivers have pull-downs: a pin not yet driven is off too.
#define YOKEDOCK_RELAY_PORT PORTA
#define YOKEDOCK_RELAY_DDR DDRA
constexpr uint8_t kRelayMask = 0x1F; ///< PA0 to PA4

constexpr uint8_t kCompositePin = 1 << PB5; ///< OC1A, composite sync
constexpr uint8_t kLinePin = 1 << PB7;      ///< OC1C, separate line sync
constexpr uint8_t kFieldPin = 1 << PE3;     ///< OC3A, separate field sync
constexpr uint8_t kWindowPin =
    1 << PE4; ///< OC3B, picture window; gates the pattern in the front end
constexpr uint8_t kPatternPin = 1 << PH6; ///< OC2B, pattern

// ICP4 (PL0): line retrace comparator. ICP5 (PL1): field retrace comparator.

// Gate drivers of the step drives' MOSFETs; high is on, and pull-downs hold them low.
constexpr uint8_t kStepVerticalPin = 1 << PL3;   ///< OC5A
constexpr uint8_t kStepHorizontalPin = 1 << PL4; ///< OC5B

// Port D, with pull-ups. Over-current comparator on INT0: high is over current, and so is a lead
// that came off. Stop button on INT1: a loop that is closed to ground; pressed, unplugged or broken
// reads high and means stop.
constexpr uint8_t kOverCurrentPin = 1 << PD0;
constexpr uint8_t kStopPin = 1 << PD1;

/// GPIOR0 bit: the slot that begins next carries a picture (read before any register is saved).
constexpr uint8_t kPictureDueBit = 0;
/// GPIOR0 bit: this slot's handler has pins to switch or a run to begin.
constexpr uint8_t kAfterPulseBit = 1;
/// GPIOR0 bit: a line edge is being recorded; those that come meanwhile go to LineQueue.
constexpr uint8_t kLineEdgeBit = 2;
/// GPIOR0 bit: LineLatch holds what the capture register held a while ago.
constexpr uint8_t kLinePeekBit = 3;
/// GPIOR0 bits: the over-current comparator, or the stop loop, has opened the supply.
constexpr uint8_t kOverCurrentSeenBit = 4;
constexpr uint8_t kStopSeenBit = 5;
/// GPIOR0 bit: Guard::Path::watching, for the conversion handler.
constexpr uint8_t kWatchingBit = 6;

} // namespace firmware
} // namespace yokedock
