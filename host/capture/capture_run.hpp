// SPDX-License-Identifier: MIT
#pragma once
#include "host/bench/bench.hpp"
#include "host/capture/raw_capture.hpp"
#include "host/capture/tick_axis.hpp"
#include <functional>
#include <optional>

namespace yokedock::capture {

/// One capture to take.
struct CapturePhase {
    std::string purpose; ///< RawCapture::purpose
    wire::CaptureSettings settings;
    double seconds = 0; ///< device time
};

/// What came of it. With an error the capture holds what had arrived, and ends where that ends.
struct CaptureOutcome {
    RawCapture capture;
    std::optional<Error> error;
};

/// Told now and then during a capture: the part done, 0 to 1.
using PartDone = std::function<void(double)>;

/// Starts the capture, reads it for phase.seconds of device time, stops it and reads what is left.
/// The capture is cut to exactly that time. Needs Bench::set_sync in this session (kUsage else).
/// Errors: kLink within 3 s of the loss; kStopped at once; kRefused when the bench refuses or
/// leaves the capture by itself (with the cause).
/// started, when given, runs once the capture has begun and before it is read: to switch something
/// while it is watched; its error ends the capture.
[[nodiscard]] CaptureOutcome run_capture(const bench::Bench& bench, const CapturePhase& phase,
                                         TickAxis& axis, const PartDone& part_done = {},
                                         const std::function<Status()>& started = {});

} // namespace yokedock::capture
