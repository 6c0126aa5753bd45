// SPDX-License-Identifier: MIT
// The supply of a session: switched on by stages, told as it comes, and off again however it ends.
#pragma once
#include "host/capture/measurement.hpp"
#include "host/cli/power_options.hpp"

namespace yokedock::cli {

/// Switches the supply off when a command ends, however it ends: Ctrl-C, error, or done. Power off
/// is sent even after a stop; a lost link is told, and is the bench's own business then (host
/// silence trips it). Silent where the bench does not switch the supply.
class PowerGuard {
  public:
    PowerGuard(const bench::Bench& bench, bool by_bench, Seams& seams)
        : bench_(bench), by_bench_(by_bench), seams_(seams) {}
    ~PowerGuard();
    PowerGuard(const PowerGuard&) = delete;
    PowerGuard& operator=(const PowerGuard&) = delete;

  private:
    const bench::Bench& bench_;
    bool by_bench_;
    Seams& seams_;
};

/// A board that is powered, by whom ever.
struct BoardSession {
    const bench::Bench& bench;
    capture::Guarding guarding = capture::Guarding::kNone;
    record::PowerRecord power;
    std::optional<capture::RawCapture>
        cut; ///< the capture that a trip cut off, for the trip's file
};

/// Where the trip is kept, and what its file says of the session.
struct TripFile {
    std::string beside; ///< a file; the trip's lies in the same folder
    std::string time_utc;
    std::string standard;
    bool simulated = false;
};

/// Brings the supply up by the plan and prints each stage; nothing to do where it is outside.
/// power gets what was found. Sync must be sent, unless free_run. Errors as bench::energise; a trip
/// is told with the parts to look at and kept in a file.
[[nodiscard]] Status power_up(const PowerPlan& plan, const std::optional<record::Profile>& profile,
                              bool free_run, const TripFile& file, BoardSession& session,
                              Seams& seams);

/// After an error of the work: where the bench tripped, tells and keeps it as power_up does.
void tell_trip(const Error& error, const std::optional<record::Profile>& profile,
               const TripFile& file, BoardSession& session, Seams& seams);

} // namespace yokedock::cli
