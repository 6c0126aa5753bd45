// SPDX-License-Identifier: MIT
#pragma once
#include "host/link/stop.hpp"
#include "host/result.hpp"
#include <string>

namespace yokedock::cli {

/// Runs gnuplot without a shell, program on its standard input, and returns what it writes to its
/// standard output. kFile with its own words when it fails or is not installed. Blocks until it
/// ends or the token stops (then it is killed, kStopped).
[[nodiscard]] Result<std::string> run_gnuplot(const std::string& program, link::StopToken stop);

} // namespace yokedock::cli
