// SPDX-License-Identifier: MIT
#pragma once
#include "firmware/ports/avr/state.hpp"

namespace yokedock {
namespace firmware {

/// Main loop: sampling by settings' schedule from the next line on. Takes one conversion time.
/// other_work: so much else is to be done in each line (both edges, a picture) that only every
/// other one can be sampled.
void start_sampling(const wire::CaptureSettings& settings, uint16_t line_ticks, bool other_work);

/// Main loop: goes on when a trigger was lost and no result came.
void recover_sampling();

/// Main loop, no capture running: one reading at the slowest converter clock, about 0.3 ms.
uint16_t convert_once(uint8_t channel);

/// Main loop: no more samples when it returns (after two slots and a conversion at the most).
void stop_sampling();

} // namespace firmware
} // namespace yokedock
