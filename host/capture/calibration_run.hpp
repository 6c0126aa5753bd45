// SPDX-License-Identifier: MIT
// Readings of a bench for its calibration. Blocks; sync outputs stay as they are, nothing is
// energised.
#pragma once
#include "host/bench/bench.hpp"
#include "host/capture/calibration.hpp"
#include <functional>

namespace yokedock::capture {

struct InputReading {
    Stated
        volts; ///< at the converter's input by the nominal reference: mean, with quantisation in u
    double scatter_v = 0; ///< sd of single readings
    std::size_t count = 0;
};

/// Samples one channel for `seconds` of device time at the slowest conversion. Sets a plain sync
/// plan (not sent) when the session has none: the sampler needs lines. Errors: the bench's;
/// kRefused when readings lie at the ends of the converter's range, for then nothing is known of
/// the input.
[[nodiscard]] Result<InputReading> read_input(bench::Bench& bench, ChannelId channel,
                                              double seconds);

/// Reads device and host clock `seconds` apart by host_s(), the quickest answer of several each
/// time. keep_going: called about once a second with the part done; false ends it (kStopped).
[[nodiscard]] Result<std::pair<ClockReading, ClockReading>>
compare_clocks(const bench::Bench& bench, double seconds, const std::function<double()>& host_s,
               const std::function<bool(double)>& keep_going);

/// What the bench has stored; without a whole copy, an empty one. copies: as CalibrationAnswer
/// tells.
struct StoredCalibration {
    Calibration calibration;
    std::uint8_t copies = 0;
    bool whole = false;
    [[nodiscard]] bool damaged() const; ///< a copy is neither whole nor empty
};
[[nodiscard]] Result<StoredCalibration> read_stored(const bench::Bench& bench);

/// Stores it, waits until it is written, reads it back and compares. Errors: kRefused (supply on,
/// not written, other bench), kUsage of to_wire.
[[nodiscard]] Status store(const bench::Bench& bench, const Calibration& calibration);

} // namespace yokedock::capture
