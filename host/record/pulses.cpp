// SPDX-License-Identifier: MIT
#include "host/record/pulses.hpp"
#include <algorithm>
#include <cmath>

namespace yokedock::record {
namespace {

double percentile(std::vector<double> values, double fraction) {
    const auto at = static_cast<std::ptrdiff_t>(fraction * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + at, values.end());
    return values[static_cast<std::size_t>(at)];
}

} // namespace

std::vector<Pulse> find_pulses(const std::vector<double>& time_s, const std::vector<double>& value,
                               bool negative, double least_swing) {
    std::vector<Pulse> pulses;
    if (value.size() < 2) {
        return pulses;
    }
    const double sign = negative ? -1 : 1;
    const double low = sign * percentile(value, negative ? 0.98 : 0.02);
    const double high = sign * percentile(value, negative ? 0.005 : 0.995);
    const double swing = high - low;
    if (!(swing > least_swing)) {
        return pulses;
    }
    const double middle = low + swing / 2;
    const double half_hysteresis = 0.05 * swing;
    // The last crossing of the middle is remembered, and counts once the hysteresis is left behind.
    double crossing_s = 0;
    double gap_s = 0;
    bool crossed =
        false; // false until the first crossing: a pulse running at the start has no known begin
    bool above = sign * value[0] > middle;
    bool whole = false;
    double begin_s = 0;
    double begin_gap_s = 0;
    for (std::size_t i = 1; i < value.size(); ++i) {
        const double before = sign * value[i - 1] - middle;
        const double now = sign * value[i] - middle;
        if ((before < 0) != (now < 0)) {
            const double step_s = time_s[i] - time_s[i - 1];
            crossing_s = time_s[i - 1] + step_s * before / (before - now);
            gap_s = step_s * std::min(1.0, std::abs(now - before) / swing);
            crossed = true;
        }
        if (!above && now > half_hysteresis) {
            above = true;
            whole = crossed;
            begin_s = crossing_s;
            begin_gap_s = gap_s;
        } else if (above && now < -half_hysteresis) {
            above = false;
            if (whole) {
                pulses.push_back({begin_s, crossing_s, begin_gap_s});
            }
            whole = false;
        }
    }
    return pulses;
}

double typical_gap(const std::vector<Pulse>& pulses) {
    std::vector<double> gaps;
    for (const Pulse& pulse : pulses) {
        gaps.push_back(pulse.begin_gap_s);
    }
    return gaps.empty() ? 0 : percentile(std::move(gaps), 0.5);
}

namespace {

constexpr double kLineSyncS = 4.7e-6; ///< every standard's, within 2 %

/// Broad pulses last almost half a line, line syncs a thirteenth of a line.
bool is_broad(const Pulse& pulse, double line_s) {
    return pulse.end_s - pulse.begin_s > 0.25 * line_s;
}

/// Line syncs keep whole lines from each other; the half-line pulses between them belong to the
/// field groups.
std::vector<double> line_starts(const std::vector<Pulse>& pulses, double line_s) {
    std::vector<double> starts;
    const double tolerance_s = 0.2 * line_s;
    for (const Pulse& pulse : pulses) {
        if (starts.empty()) {
            const bool narrow = pulse.end_s - pulse.begin_s < 0.15 * line_s;
            const bool wide_enough = pulse.end_s - pulse.begin_s > 0.05 * line_s;
            if (narrow && wide_enough) { // neither broad nor equalising: a line sync
                starts.push_back(pulse.begin_s);
            }
            continue;
        }
        const double lines = (pulse.begin_s - starts.back()) / line_s;
        if (std::round(lines) >= 1 && std::abs(lines - std::round(lines)) * line_s < tolerance_s) {
            starts.push_back(pulse.begin_s);
        }
    }
    return starts;
}

/// First pulse of the group that the broad pulse at `broad` belongs to: equalising pulses follow
/// each other at half lines and are clearly narrower than a line sync.
std::size_t group_begin(const std::vector<Pulse>& pulses, std::size_t broad, double line_s) {
    std::size_t at = broad;
    while (at > 0) {
        const Pulse& before = pulses[at - 1];
        const bool near = pulses[at].begin_s - before.begin_s < 0.75 * line_s;
        const bool equalising = before.end_s - before.begin_s < 0.75 * kLineSyncS;
        if (!near || !equalising) {
            break;
        }
        --at;
    }
    return at;
}

bool stands_on_line_start(double time_s, const std::vector<double>& line_start_s, double line_s) {
    const auto next = std::lower_bound(line_start_s.begin(), line_start_s.end(), time_s);
    double distance = line_s;
    if (next != line_start_s.end()) {
        distance = std::min(distance, *next - time_s);
    }
    if (next != line_start_s.begin()) {
        distance = std::min(distance, time_s - *(next - 1));
    }
    return distance < 0.2 * line_s;
}

} // namespace

capture::SyncTimeline read_sync(const std::vector<double>& time_s, const std::vector<double>& value,
                                double line_rate_hz) {
    capture::SyncTimeline sync;
    if (line_rate_hz <= 0 || time_s.size() < 3) {
        return sync;
    }
    const double line_s = 1 / line_rate_hz;
    const double step_s = (time_s.back() - time_s.front()) / static_cast<double>(time_s.size() - 1);
    if (step_s > kLineSyncS / 3) {
        return sync;
    }
    // Sync level is the rarer one: compare the mean with the middle of the swing.
    const double low = percentile(value, 0.02);
    const double high = percentile(value, 0.98);
    double sum = 0;
    for (const double v : value) {
        sum += v;
    }
    const bool negative = sum / static_cast<double>(value.size()) > (low + high) / 2;
    const std::vector<Pulse> pulses = find_pulses(time_s, value, negative, 0);
    sync.line_start_s = line_starts(pulses, line_s);
    sync.resolution_s = typical_gap(pulses);
    for (std::size_t i = 0; i < pulses.size(); ++i) {
        if (!is_broad(pulses[i], line_s) || (i > 0 && is_broad(pulses[i - 1], line_s))) {
            continue;
        }
        const std::size_t first = group_begin(pulses, i, line_s);
        if (first == 0) { // the samples may have begun inside this group
            continue;
        }
        const double start_s = pulses[first].begin_s;
        sync.field_start_s.push_back(start_s);
        sync.field_mid_line.push_back(!stands_on_line_start(start_s, sync.line_start_s, line_s));
        sync.vertical_sync_offset_s = pulses[i].begin_s - start_s;
    }
    return sync;
}

} // namespace yokedock::record
