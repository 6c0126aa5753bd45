// SPDX-License-Identifier: MIT
#pragma once

/// A path taken seldom, kept out of the interrupt handlers it belongs to: inlined there, every
/// register it needs would be saved by each run of the handler.
#define YOKEDOCK_RARE __attribute__((noinline))
