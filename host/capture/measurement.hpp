// SPDX-License-Identifier: MIT
#pragma once
#include "host/capture/schedules.hpp"

namespace yokedock::capture {

struct MeasureOptions {
    PhaseSeconds seconds;
    bool simulated = false; ///< the user or the program knows that the bench is a virtual one
    Guarding guarding = Guarding::kNone;
};

struct MeasureProgress {
    std::string phase; ///< RawCapture::purpose of the capture being taken
    double done = 0;   ///< 0 to 1 of the whole measurement
};
using ProgressCallback = std::function<void(const MeasureProgress&)>;

/// A measurement, whole or cut off. measurement.complete is false exactly when error is set; what
/// measurement then holds is good as far as it goes (its last capture may be a part) and can be
/// saved and analysed.
struct MeasureOutcome {
    RawMeasurement measurement;
    std::optional<Error> error;
    double bench_seconds = 0; ///< device time from the first capture's begin to the last one's end
};

/// Bench facts for a record: identity, link, and the scales and clock the bench has stored, or
/// nominal ones. Asks the bench.
[[nodiscard]] BenchInfo make_bench_info(const bench::Bench& bench, bool simulated);

/// Nominal scale of a channel, from shared/channels.hpp.
[[nodiscard]] ChannelScale nominal_scale(ChannelId channel);

/// Takes all captures of a measurement with the sync as it is (sent or not, locked or not);
/// Bench::set_sync must have been called in this session. Blocks about as long as the phases of
/// options; stops with the bench's stop token. Errors as run_capture, kRefused when the bench that
/// is to power the board has switched it off before, and kUsage when the phases
/// exceed kMaxBenchSeconds. Does not touch the supply.
[[nodiscard]] MeasureOutcome run_measurement(const bench::Bench& bench,
                                             const MeasureOptions& options,
                                             const ProgressCallback& progress = {});

} // namespace yokedock::capture
