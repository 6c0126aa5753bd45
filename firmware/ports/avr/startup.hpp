// SPDX-License-Identifier: MIT
#pragma once
#include <stdint.h>

namespace yokedock {
namespace firmware {

/// MCUSR as the last reset left it.
uint8_t saved_reset_flags();

} // namespace firmware
} // namespace yokedock
