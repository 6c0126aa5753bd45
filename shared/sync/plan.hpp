// SPDX-License-Identifier: MIT
// From sync settings to timer ticks. Device and host run the same code: the device to make the pulses,
// the host to know where every edge of them was. Integers only; no rounding is left to chance.
//
// Time is counted in slots. A slot is a half line or a whole line with one pulse at its start; half-line
// slots stand where pulses come twice per line. Slot starts follow n * T exactly on average: a half line is
// `half_line_ticks + half_line_numerator / half_line_denominator` ticks, and an accumulator carries the fraction,
// so a slot start is never a whole tick late.
#pragma once
#include "shared/wire/messages.hpp"

namespace yokedock {
namespace sync {

constexpr uint32_t kMinLineRateMhz = 10000000; ///< 10 kHz
/// 18 kHz: a half line is then 444 cycles. The slot handler takes up to 400 (tests/system, which run
/// this rate, too); beyond, what else is busy at the same time no longer finds the time.
constexpr uint32_t kMaxLineRateMhz = 18000000;
constexpr uint16_t kMinHalfLines = 200;
constexpr uint16_t kMaxHalfLines = 2500;
constexpr uint32_t kMaxDenominator = 0x3FFFFFFF; ///< accumulator + 2 * numerator stays below 2^32
constexpr uint16_t kMinPulseTicks = 8;

constexpr uint64_t greatest_common_divisor(uint64_t a, uint64_t b) {
    while (b != 0) {
        const uint64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

struct PlanResult {
    bool ok;
    uint8_t bad_field; ///< index in SyncSettings::visit order of the first value refused, when not ok
    wire::SyncAchieved achieved;
};

constexpr uint16_t nearest_ticks(uint32_t nanoseconds, uint32_t clock_hz) {
    return static_cast<uint16_t>(
        (static_cast<uint64_t>(nanoseconds) * clock_hz + 500000000ull) / 1000000000ull);
}

constexpr PlanResult refuse(uint8_t field) { return {false, field, wire::SyncAchieved{}}; }

/// What a device with this clock makes of the settings. The achieved rate is exact: clock_hz divided by
/// two half lines. Pulse widths are rounded to the nearest tick.
constexpr PlanResult make_plan(const wire::SyncSettings& s, uint32_t clock_hz) {
    if (s.line_rate_denominator == 0 || s.line_rate_denominator > 1000000) {
        return refuse(1);
    }
    const uint64_t milli = static_cast<uint64_t>(s.line_rate_numerator) * 1000u;
    if (milli < static_cast<uint64_t>(kMinLineRateMhz) * s.line_rate_denominator ||
        milli > static_cast<uint64_t>(kMaxLineRateMhz) * s.line_rate_denominator) {
        return refuse(0);
    }
    if (s.half_lines < kMinHalfLines || s.half_lines > kMaxHalfLines) {
        return refuse(2);
    }
    wire::SyncAchieved a{};
    const uint64_t top = static_cast<uint64_t>(clock_hz) * s.line_rate_denominator;
    const uint64_t bottom = 2ull * s.line_rate_numerator;
    const uint64_t rest = top % bottom;
    const uint64_t common = greatest_common_divisor(bottom, rest);
    a.half_line_ticks = static_cast<uint16_t>(top / bottom);
    if (bottom / common > kMaxDenominator) {
        return refuse(0);
    }
    a.half_line_numerator = static_cast<uint32_t>(rest / common);
    a.half_line_denominator = static_cast<uint32_t>(bottom / common);
    a.half_lines = s.half_lines;
    a.line_sync_ticks = nearest_ticks(s.line_sync_ns, clock_hz);
    a.equalising_ticks = nearest_ticks(s.equalising_ns, clock_hz);
    a.serration_ticks = nearest_ticks(s.serration_ns, clock_hz);
    a.pre_pulses = s.pre_pulses;
    a.broad_pulses = s.broad_pulses;
    a.post_pulses = s.post_pulses;
    a.flags = s.flags;
    const uint16_t half = a.half_line_ticks;
    if (a.line_sync_ticks < kMinPulseTicks || a.line_sync_ticks > half / 2) {
        return refuse(3);
    }
    const bool equalised = s.pre_pulses != 0 || s.post_pulses != 0;
    if (equalised && (a.equalising_ticks < kMinPulseTicks || a.equalising_ticks > half / 2)) {
        return refuse(4);
    }
    const bool plain = (s.flags & wire::kSyncPlainVertical) != 0;
    const bool whole_lines = plain || (s.flags & wire::kSyncLineRateSerrations) != 0;
    if (!plain && (a.serration_ticks < kMinPulseTicks || a.serration_ticks > half / 2)) {
        return refuse(5);
    }
    if (s.broad_pulses == 0) {
        return refuse(7);
    }
    const uint16_t pulses = static_cast<uint16_t>(s.pre_pulses + s.broad_pulses + s.post_pulses);
    if (pulses > s.half_lines / 4) {
        return refuse(7);
    }
    if (whole_lines) { // whole-line pulses must start where a line starts, in every field
        if (s.half_lines % 2 != 0) {
            return refuse(2);
        }
        if (s.pre_pulses % 2 != 0) {
            return refuse(6);
        }
        if (s.broad_pulses % 2 != 0) {
            return refuse(7);
        }
        if (s.post_pulses % 2 != 0) {
            return refuse(8);
        }
    }
    if (s.flags > 0x1F) {
        return refuse(9);
    }
    return {true, 0, a};
}

/// Ticks from a point with this accumulator to the point half_lines later; the accumulator moves along.
constexpr uint32_t slot_ticks(const wire::SyncAchieved& plan, uint32_t& accumulator,
                              uint32_t half_lines) {
    const uint64_t sum =
        accumulator + static_cast<uint64_t>(plan.half_line_numerator) * half_lines;
    accumulator = static_cast<uint32_t>(sum % plan.half_line_denominator);
    return static_cast<uint32_t>(static_cast<uint64_t>(plan.half_line_ticks) * half_lines +
                                 sum / plan.half_line_denominator);
}

// ---- the pulses of a field -------------------------------------------------------------------------

enum class Pulse : uint8_t { kLine, kEqualising, kBroad, kSolid };

/// A run of equal slots. `ticks` is the pulse width, counted from the slot start; kSolid slots stay at sync
/// level to their end.
struct Segment {
    uint16_t slots;
    uint8_t half_lines_per_slot; ///< 1 or 2
    Pulse pulse;
    uint16_t ticks;
};

constexpr uint8_t kMaxSegments = 6;

struct FieldProgram {
    Segment segments[kMaxSegments];
    uint8_t count;
};

constexpr void append(FieldProgram& program, uint16_t slots, uint8_t half_lines_per_slot, Pulse pulse,
                      uint16_t ticks) {
    if (slots != 0) {
        program.segments[program.count].slots = slots;
        program.segments[program.count].half_lines_per_slot = half_lines_per_slot;
        program.segments[program.count].pulse = pulse;
        program.segments[program.count].ticks = ticks;
        ++program.count;
    }
}

/// Appends a group of `pulses` half-line pulses; the last one fills a whole line when stretch_last.
constexpr void append_group(FieldProgram& program, uint8_t pulses, Pulse pulse, uint16_t ticks,
                            bool stretch_last) {
    if (pulses == 0) {
        return;
    }
    append(program, static_cast<uint16_t>(pulses - (stretch_last ? 1 : 0)), 1, pulse, ticks);
    append(program, stretch_last ? 1 : 0, 2, pulse, ticks);
}

/// The slots of one field, from its first equalising pulse (or first broad pulse where there are none).
/// plan must be one that make_plan returned. starts_mid_line: the field begins half a line after a line start.
constexpr FieldProgram make_field_program(const wire::SyncAchieved& plan, bool starts_mid_line) {
    FieldProgram program{};
    const uint16_t half = plan.half_line_ticks;
    const bool plain = (plan.flags & wire::kSyncPlainVertical) != 0;
    const bool line_rate = (plan.flags & wire::kSyncLineRateSerrations) != 0;
    uint16_t used = static_cast<uint16_t>(plan.pre_pulses + plan.broad_pulses + plan.post_pulses);
    // After the groups the field may stand in mid-line, where no pulse belongs: the last group's last slot
    // then reaches to the next line start.
    const bool stretch = ((used + (starts_mid_line ? 1 : 0)) & 1) != 0;
    append_group(program, plan.pre_pulses, Pulse::kEqualising, plan.equalising_ticks, false);
    if (plain) {
        append(program, static_cast<uint16_t>(plan.broad_pulses / 2 - 1), 2, Pulse::kSolid,
               static_cast<uint16_t>(2 * half));
        // One gap of a line sync's width before the next line, so that its leading edge exists.
        append(program, 1, 2, Pulse::kBroad, static_cast<uint16_t>(2 * half - plan.line_sync_ticks));
    } else if (line_rate) {
        append(program, static_cast<uint16_t>(plan.broad_pulses / 2), 2, Pulse::kBroad,
               static_cast<uint16_t>(2 * half - plan.serration_ticks));
    } else {
        append_group(program, plan.broad_pulses, Pulse::kBroad,
                     static_cast<uint16_t>(half - plan.serration_ticks),
                     stretch && plan.post_pulses == 0);
    }
    append_group(program, plan.post_pulses, Pulse::kEqualising, plan.equalising_ticks, stretch);
    if (stretch) {
        ++used;
    }
    const uint16_t left = static_cast<uint16_t>(plan.half_lines - used);
    append(program, static_cast<uint16_t>(left / 2), 2, Pulse::kLine, plan.line_sync_ticks);
    append(program, static_cast<uint16_t>(left % 2), 1, Pulse::kLine, plan.line_sync_ticks);
    return program;
}

} // namespace sync
} // namespace yokedock
