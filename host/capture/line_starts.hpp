// SPDX-License-Identifier: MIT
#pragma once
#include "host/capture/raw_capture.hpp"

namespace yokedock::capture {

/// Ticks of every line start the device made between the capture's begin and end, exact, in time
/// order: from each field start to the next, and backwards from the first to the capture's begin.
/// Lines of a field whose start was lost are missing. The plan must have been the same all the
/// time.
[[nodiscard]] std::vector<std::int64_t> line_starts(const RawCapture& capture);

} // namespace yokedock::capture
