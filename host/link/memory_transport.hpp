// SPDX-License-Identifier: MIT
#pragma once
#include "host/link/transport.hpp"
#include <memory>
#include <utility>

namespace yokedock::link {

/// Two ends of one stream in memory, for tests: what one writes the other reads. Closing (or
/// destroying) one end is an error at the other once its bytes are read. The ends may be used from
/// two threads.
[[nodiscard]] std::pair<std::unique_ptr<Transport>, std::unique_ptr<Transport>> make_memory_pair();

} // namespace yokedock::link
