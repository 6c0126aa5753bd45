// SPDX-License-Identifier: MIT
#include "host/lock/stimulus.hpp"
#include "host/bench/rates.hpp"
#include "shared/sync/plan.hpp"
#include <algorithm>
#include <cmath>
#include <fmt/format.h>
#include <numeric>

namespace yokedock::lock {
namespace {

constexpr std::uint32_t kNominalClockHz =
    16000000; // whether a plan can be made hardly depends on it
constexpr double kSlackHz = 1e-6;

double line_hz(const wire::SyncSettings& s) {
    return static_cast<double>(s.line_rate_numerator) / s.line_rate_denominator;
}

double field_hz(const wire::SyncSettings& s) {
    return 2 * line_hz(s) / s.half_lines;
}

bool needs_whole_lines(const wire::SyncSettings& s) {
    return (s.flags & (wire::kSyncPlainVertical | wire::kSyncLineRateSerrations)) != 0;
}

// Half lines nearest to a wanted number.
std::uint16_t half_lines_near(double wanted, bool whole_lines) {
    const double step = whole_lines ? 2 : 1;
    const double near = step * std::round(wanted / step);
    return static_cast<std::uint16_t>(std::clamp(near, static_cast<double>(sync::kMinHalfLines),
                                                 static_cast<double>(sync::kMaxHalfLines)));
}

void set_line_rate(wire::SyncSettings& s, std::uint64_t numerator, std::uint64_t denominator) {
    const std::uint64_t common = std::gcd(numerator, denominator);
    s.line_rate_numerator = static_cast<std::uint32_t>(numerator / common);
    s.line_rate_denominator = static_cast<std::uint32_t>(denominator / common);
}

const char* axis_rate(SweepAxis axis) {
    return axis == SweepAxis::kVertical ? "field rate" : "line rate";
}

} // namespace

Result<wire::SyncSettings> sync_at(const SweepSettings& sweep, double rate_hz) {
    if (!(rate_hz >= sweep.low_hz - kSlackHz && rate_hz <= sweep.high_hz + kSlackHz)) {
        return Error{ErrorKind::kUsage,
                     fmt::format("a {} of {:.4f} Hz was asked for; expected {:.4f} to {:.4f} Hz, "
                                 "the range of this sweep; widen the range",
                                 axis_rate(sweep.axis), rate_hz, sweep.low_hz, sweep.high_hz)};
    }
    wire::SyncSettings s = sweep.sync;
    if (sweep.axis == SweepAxis::kVertical) {
        s.half_lines = half_lines_near(2 * line_hz(s) / rate_hz, needs_whole_lines(s));
        const auto milli = static_cast<std::uint64_t>(std::llround(rate_hz * 1000));
        set_line_rate(s, milli * s.half_lines, 2000);
    } else {
        // Whole lines always: a device's new settings begin on a line start, so a field that ends
        // in mid-line would move all lines after it by half of one, and no line loop holds that.
        s.half_lines = half_lines_near(2 * rate_hz / field_hz(sweep.sync), true);
        set_line_rate(s, static_cast<std::uint64_t>(std::llround(rate_hz * 100)), 100);
    }
    if (const auto plan = sync::make_plan(s, kNominalClockHz); !plan.ok) {
        return Error{ErrorKind::kUsage,
                     fmt::format("a {} of {:.4f} Hz cannot be made with this sync: {} half lines "
                                 "per field at {:.3f} Hz; expected line rates of {:.0f} to {:.0f} "
                                 "Hz and {} to {} half lines; narrow the range",
                                 axis_rate(sweep.axis), rate_hz, s.half_lines, line_hz(s),
                                 sync::kMinLineRateMhz / 1e3, sync::kMaxLineRateMhz / 1e3,
                                 sync::kMinHalfLines, sync::kMaxHalfLines)};
    }
    return s;
}

Result<SweepSettings> default_sweep(SweepAxis axis, const wire::SyncSettings& sync,
                                    std::uint32_t clock_hz) {
    if (const auto plan = sync::make_plan(sync, clock_hz); !plan.ok) {
        return Error{ErrorKind::kUsage, "the sync to sweep from cannot be made by this bench; "
                                        "choose another standard or settings"};
    }
    SweepSettings s;
    s.axis = axis;
    s.sync = sync;
    if (axis == SweepAxis::kVertical) {
        // Vertical hold controls reach some 15 % either way (common practice, no source).
        s.nominal_hz = field_hz(sync);
        s.low_hz = 0.8 * s.nominal_hz;
        s.high_hz = 1.2 * s.nominal_hz;
        s.step_hz = 0.5;
        s.resolution_hz = 0.1;
        s.acquire_s = 1.0;
    } else {
        // Line oscillators are held over some 6 % (LM1391 data sheet: 900 Hz typical).
        s.nominal_hz = line_hz(sync);
        s.low_hz = kLowestLineShare * s.nominal_hz;
        s.high_hz = std::min(1.08 * s.nominal_hz, sync::kMaxLineRateMhz / 1e3);
        s.step_hz = 50;
        s.resolution_hz = 10;
        s.acquire_s = 0.2;
    }
    return s;
}

Status check_sweep(const SweepSettings& s, bool allow_low) {
    const auto bad = [&](std::string text) { return Error{ErrorKind::kUsage, std::move(text)}; };
    const char* rate = axis_rate(s.axis);
    if (!(s.low_hz > 0 && s.low_hz < s.nominal_hz && s.high_hz > s.nominal_hz)) {
        return bad(fmt::format("the range is {:.3f} to {:.3f} Hz; expected one with the set {} of "
                               "{:.3f} Hz inside; change --low-hz or --high-hz",
                               s.low_hz, s.high_hz, rate, s.nominal_hz));
    }
    if (!(s.step_hz > 0 && s.step_hz <= s.high_hz - s.low_hz)) {
        return bad(fmt::format("--step-hz is {:g}; expected more than 0 and at most the range of "
                               "{:g} Hz",
                               s.step_hz, s.high_hz - s.low_hz));
    }
    const double finest = s.axis == SweepAxis::kVertical ? 0.01 : 0.1;
    if (!(s.resolution_hz >= finest && s.resolution_hz <= s.step_hz)) {
        return bad(fmt::format("--resolution-hz is {:g}; expected {:g} Hz to the step of {:g} Hz",
                               s.resolution_hz, finest, s.step_hz));
    }
    if (!(s.dwell_s >= 0 && s.dwell_s <= 60 && s.acquire_s > 0 && s.acquire_s <= 60)) {
        return bad(fmt::format("dwell {:g} s and acquisition time {:g} s; expected 0 to 60 s and "
                               "more than 0 to 60 s",
                               s.dwell_s, s.acquire_s));
    }
    const double share = s.low_hz / s.nominal_hz;
    if (s.axis == SweepAxis::kHorizontal && share < kLowestLineShare - 1e-9 && !allow_low) {
        return bad(fmt::format("line rates down to {:.0f} Hz were asked for, {:.0f} % of the set "
                               "rate; expected at least {:.0f} %, for a low line rate overstresses "
                               "the line output stage; raise --low-hz, or take the risk with "
                               "--allow-low",
                               s.low_hz, 100 * share, 100 * kLowestLineShare));
    }
    for (const double edge : {s.low_hz, s.high_hz}) {
        if (const auto made = sync_at(s, edge); !made) {
            return made.error();
        }
    }
    return Done{};
}

} // namespace yokedock::lock
