// SPDX-License-Identifier: MIT
// Waiting on a file descriptor: the one place for poll() and its interruptions.
#pragma once
#include "host/link/transport.hpp"

namespace yokedock::link {

enum class Ready { kYes, kTimeout, kGone };

/// Waits until fd can be read (or written). A signal ends the wait early as a timeout, so that
/// Ctrl-C is seen at once. kGone: the other end hung up or the descriptor is bad, and nothing is
/// left to read.
[[nodiscard]] Ready wait_readable(int fd, Milliseconds timeout);
[[nodiscard]] Ready wait_writable(int fd, Milliseconds timeout);

/// errno in words.
[[nodiscard]] std::string system_text(int error_number);

} // namespace yokedock::link
