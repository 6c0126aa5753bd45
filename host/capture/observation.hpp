// SPDX-License-Identifier: MIT
// What was seen of a board, in SI units on one time axis: the only input of the analysis. A bench
// capture, a stored record and an imported oscilloscope file all become an Observation first.
#pragma once
#include <map>
#include <string>
#include <vector>

namespace yokedock::capture {

/// Samples of one quantity, in time order, not necessarily equidistant. time_s and value have equal
/// size.
struct Samples {
    std::vector<double> time_s;
    std::vector<double> value;
    double resolution = 0;      ///< one code in the quantity's unit; 0 when unknown
    double gain_u_relative = 0; ///< standard uncertainty of the scale, relative
    double zero_u = 0;          ///< standard uncertainty of the zero, in the quantity's unit
    double delay_s = 0;         ///< input lag already known; subtract from time_s to get true time
    bool calibrated = false;    ///< scale and zero come from a calibration, not from nominal values
    bool of_bench = true; ///< read by the bench's front end, with the ranges of shared/channels.hpp
};

/// A stretch of time in which a source was not watched (dropped data, or another capture phase).
struct Interval {
    double begin_s = 0;
    double end_s = 0;
};

/// Edges of a retrace comparator. rise_s is the start of retrace, fall_s its end; either may be
/// empty (not stamped). Missing edges are simply absent; time not watched is listed in `unwatched`.
struct PulseTrain {
    std::vector<double> rise_s;
    std::vector<double> fall_s;
    std::vector<Interval> unwatched;
    double resolution_s = 62.5e-9;
};

/// Sync as it was sent (bench) or read from a sync_v channel (import); empty when none was there.
struct SyncTimeline {
    std::vector<double> field_start_s; ///< first pulse of the field's group, each field
    std::vector<bool> field_mid_line;  ///< the field started half a line after a line start
    std::vector<double> line_start_s; ///< every line start, leading edge of its sync, in time order
    double vertical_sync_offset_s = 0; ///< field_start to the first broad pulse's leading edge
    double resolution_s =
        0; ///< step of these times: a start may lie anywhere in +-half of it; 0 exact
};

struct Observation {
    std::map<std::string, Samples>
        channels; ///< by channel name (shared/channels.hpp), plus h_out_v, sync_v
    PulseTrain field_pulses;
    PulseTrain line_pulses;
    SyncTimeline sync;
    bool sync_on = false;     ///< sync was being sent while the board was observed
    double line_rate_hz = 0;  ///< the rate sent, or nominal; 0 unknown
    double field_rate_hz = 0; ///< the rate sent, or nominal; 0 unknown
    bool interlaced = false;
    double clock_u_relative =
        0; ///< standard uncertainty of the time axis' scale (crystal); stated apart
    bool imported = false;
};

} // namespace yokedock::capture
