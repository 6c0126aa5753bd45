// SPDX-License-Identifier: MIT
#pragma once
#include "shared/sync/plan.hpp"

namespace yokedock {
namespace firmware {

constexpr uint8_t kVersionMajor = 0;
constexpr uint8_t kVersionMinor = 1;
constexpr uint8_t kVersionPatch = 0;

/// Blocks of the pool: what 8 KB of RAM leave beside stack and buffers. The stack needs some 470
/// bytes, measured with everything busy (tests/system/stack_test.cpp, which asks for room beyond).
constexpr uint8_t kPoolBlocks = 21;

/// From a reading's cause to the supply relay's pin, at most: limits of readings are looked at so
/// often that this holds.
constexpr uint16_t kTripMicroseconds = 1000;

/// The supply goes off when no frame with a right CRC came for this long.
constexpr uint16_t kSilenceLimitMs = 2000;

} // namespace firmware
} // namespace yokedock
