// SPDX-License-Identifier: MIT
// The one message table. Enum, sizes, names and docs/protocol.md come from it (tests check the page).
//
// Exchange: the host sends a request with a number; the device answers once, with the same number and
// kind | kAnswerBit, or `refused`. The same number and kind again means "your answer was lost": the device
// repeats the stored answer without doing the work twice. Only read_blocks yields more than one frame:
// any count of `block` frames, then its answer.
#pragma once
#include "shared/wire/fields.hpp"

namespace yokedock {
namespace wire {

constexpr uint16_t kProtocolVersion = 2;
constexpr uint8_t kAnswerBit = 0x80;
constexpr uint32_t kBaudRate = 1000000;

// ---- bulk data -------------------------------------------------------------------------------------

/// What a block holds. Times are device ticks (one per CPU cycle, 62.5 ns at 16 MHz), 32 bits, wrapping.
enum class BlockKind : uint8_t {
    kSamples = 1,     ///< 4-byte words: bits 0-9 raw code, 10-12 channel, 13-31 trigger time - base_time
    kLineEdges = 2,   ///< 2-byte words: bits 0-14 ticks since the edge before (first: base_time), bit 15 rising
    kFieldEdges = 3,  ///< 4-byte words: bits 0-30 low bits of the edge time, bit 31 rising
    kFieldStarts = 4, ///< 8 bytes each: see FieldStart
};

constexpr uint8_t kBlockDataBytes = 216; ///< divisible by 2, 4 and 8: no word is ever split
constexpr uint8_t kBlockFlagGap = 0x01;  ///< data of this kind was dropped between the previous block and this

constexpr uint8_t kSampleCodeBits = 10;
constexpr uint8_t kSampleChannelBits = 3;
constexpr uint8_t kSampleTimeBits = 19;

/// Start of a field as the device made it. Line starts inside the field follow exactly from
/// sync::slot_ticks(plan, accumulator, half_lines) (shared/sync/plan.hpp).
struct FieldStart {
    uint32_t time = 0;        ///< ticks, of the leading edge of the first pulse of the field's first group
    uint32_t accumulator = 0; ///< bit 31: the field starts in mid-line; bits 0-30: fractional accumulator there

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("time", "field start, ticks", time);
        v.field("accumulator", "bits 0-30 fractional accumulator, bit 31 starts mid-line", accumulator);
    }
};

/// Head of a `block` frame; `count` words of the kind's size follow.
struct BlockHead {
    uint16_t sequence = 0;
    uint8_t kind = 0;
    uint8_t flags = 0;
    uint8_t count = 0;
    uint32_t base_time = 0;

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("sequence", "block number, counts up by 1 from 0 at start_capture, wraps", sequence);
        v.field("kind", "BlockKind", kind);
        v.field("flags", "bit 0: data of this kind was dropped before this block", flags);
        v.field("count", "number of words that follow", count);
        v.field("base_time", "ticks; reference of the words' times", base_time);
    }
};

// ---- requests and answers --------------------------------------------------------------------------

struct Empty {
    template <class Visitor> constexpr void visit(Visitor&) {}
};

struct IdentifyRequest {
    uint16_t protocol = kProtocolVersion;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("protocol", "protocol version the host speaks", protocol);
    }
};

struct IdentifyAnswer {
    uint16_t protocol = kProtocolVersion;
    uint8_t firmware_major = 0;
    uint8_t firmware_minor = 0;
    uint8_t firmware_patch = 0;
    uint32_t bench_serial = 0;
    uint32_t clock_hz = 0;
    uint8_t channels = 0;
    uint8_t pool_blocks = 0;
    uint8_t max_schedule = 0;
    uint32_t min_line_rate_mhz = 0;
    uint32_t max_line_rate_mhz = 0;
    uint16_t silence_limit_ms = 0;
    uint8_t reset_cause = 0;

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("protocol", "protocol version of the device", protocol);
        v.field("firmware_major", "firmware version", firmware_major);
        v.field("firmware_minor", "firmware version", firmware_minor);
        v.field("firmware_patch", "firmware version", firmware_patch);
        v.field("bench_serial", "serial number of this bench", bench_serial);
        v.field("clock_hz", "nominal ticks per second", clock_hz);
        v.field("channels", "analogue channels", channels);
        v.field("pool_blocks", "blocks the device can hold", pool_blocks);
        v.field("max_schedule", "entries a sampling schedule may have", max_schedule);
        v.field("min_line_rate_mhz", "lowest line rate, millihertz", min_line_rate_mhz);
        v.field("max_line_rate_mhz", "highest line rate, millihertz", max_line_rate_mhz);
        v.field("silence_limit_ms", "host silence that switches the supply off, ms", silence_limit_ms);
        v.field("reset_cause", "ResetCause of the last start", reset_cause);
    }
};

struct StatusAnswer {
    uint8_t state = 0;
    uint8_t cause = 0;
    uint8_t flags = 0;
    uint32_t time = 0;
    uint32_t fields = 0;
    uint32_t line_edges = 0;
    uint32_t line_missing = 0;
    uint32_t line_extra = 0;
    uint32_t field_edges = 0;
    uint32_t field_missing = 0;
    uint32_t field_extra = 0;
    uint16_t frames_bad = 0;
    uint16_t bytes_lost = 0;
    uint16_t samples_late = 0;
    uint16_t longest_slot_cycles = 0;

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("state", "BenchState", state);
        v.field("cause", "StopCause of the last stop", cause);
        v.field("flags", "StatusFlag bits", flags);
        v.field("time", "device time now, ticks", time);
        v.field("fields", "fields sent since start", fields);
        v.field("line_edges", "line retrace edges seen since the capture or sync change", line_edges);
        v.field("line_missing", "line retrace edges missing", line_missing);
        v.field("line_extra", "line retrace edges too many", line_extra);
        v.field("field_edges", "field retrace edges seen", field_edges);
        v.field("field_missing", "field retrace edges missing", field_missing);
        v.field("field_extra", "field retrace edges too many", field_extra);
        v.field("frames_bad", "frames received with a wrong CRC, coding or size", frames_bad);
        v.field("bytes_lost", "bytes lost in reception", bytes_lost);
        v.field("samples_late", "samples dropped because their time could not be vouched for", samples_late);
        v.field("longest_slot_cycles", "longest time from timer overflow to the end of its handler",
                longest_slot_cycles);
    }
};

/// Sync as asked for. Rates are rational so that 4.5 MHz / 286 is exact.
struct SyncSettings {
    uint32_t line_rate_numerator = 0;   ///< Hz
    uint32_t line_rate_denominator = 1; ///< 1 to 1000000
    uint16_t half_lines = 0;            ///< per field; odd: interlaced
    uint16_t line_sync_ns = 0;
    uint16_t equalising_ns = 0; ///< ignored when pre and post are 0
    uint16_t serration_ns = 0;  ///< gap between broad pulses
    uint8_t pre_pulses = 0;     ///< equalising, at half-line rate
    uint8_t broad_pulses = 0;   ///< in half lines; at half-line rate unless SyncFlag says otherwise
    uint8_t post_pulses = 0;
    uint8_t flags = 0; ///< SyncFlag bits

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("line_rate_numerator", "line rate = numerator / denominator Hz", line_rate_numerator);
        v.field("line_rate_denominator", "see numerator", line_rate_denominator);
        v.field("half_lines", "half lines per field; odd means interlaced", half_lines);
        v.field("line_sync_ns", "line sync width, ns", line_sync_ns);
        v.field("equalising_ns", "equalising pulse width, ns", equalising_ns);
        v.field("serration_ns", "gap between broad pulses, ns", serration_ns);
        v.field("pre_pulses", "equalising pulses before the broad ones", pre_pulses);
        v.field("broad_pulses", "length of the vertical sync, half lines", broad_pulses);
        v.field("post_pulses", "equalising pulses after the broad ones", post_pulses);
        v.field("flags", "SyncFlag bits", flags);
    }
};

/// Bits of SyncSettings::flags.
enum SyncFlag : uint8_t {
    kSyncPlainVertical = 0x01,      ///< vertical sync is one unbroken pulse (no serrations); needs whole lines
    kSyncLineRateSerrations = 0x02, ///< serrated once per line instead of twice; needs whole lines
    kSyncCompositePositive = 0x04,  ///< composite pin high during sync; default low
    kSyncSeparateLinePositive = 0x08,
    kSyncSeparateFieldPositive = 0x10,
};

/// Sync as the device makes it, from now on (from the next field boundary when sync was running).
struct SyncAchieved {
    uint16_t half_line_ticks = 0;     ///< whole ticks of a half line
    uint32_t half_line_numerator = 0; ///< and numerator / denominator of a tick more
    uint32_t half_line_denominator = 1;
    uint16_t half_lines = 0;
    uint16_t line_sync_ticks = 0;
    uint16_t equalising_ticks = 0;
    uint16_t serration_ticks = 0;
    uint8_t pre_pulses = 0;
    uint8_t broad_pulses = 0;
    uint8_t post_pulses = 0;
    uint8_t flags = 0;

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("half_line_ticks", "half line, whole ticks", half_line_ticks);
        v.field("half_line_numerator", "plus numerator / denominator ticks", half_line_numerator);
        v.field("half_line_denominator", "see numerator", half_line_denominator);
        v.field("half_lines", "half lines per field", half_lines);
        v.field("line_sync_ticks", "line sync width, ticks", line_sync_ticks);
        v.field("equalising_ticks", "equalising pulse width, ticks", equalising_ticks);
        v.field("serration_ticks", "gap between broad pulses, ticks", serration_ticks);
        v.field("pre_pulses", "equalising pulses before", pre_pulses);
        v.field("broad_pulses", "vertical sync, half lines", broad_pulses);
        v.field("post_pulses", "equalising pulses after", post_pulses);
        v.field("flags", "SyncFlag bits", flags);
    }
};

struct SyncOutput {
    uint8_t enabled = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("enabled", "1: sync on all outputs from the next field start; 0: none", enabled);
    }
};

struct VideoSettings {
    uint8_t pattern = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("pattern", "VideoPattern", pattern);
    }
};

enum class VideoPattern : uint8_t { kBlack = 0, kFlat = 1, kHorizontalBars = 2, kVerticalBars = 3, kGrid = 4 };

constexpr uint8_t kMaxSchedule = 12;
constexpr uint8_t kScheduleChannelMask = 0x7F;
constexpr uint8_t kScheduleQuiet = 0x80; ///< sampled for the guard, not sent

/// One entry of the sampling schedule: the entries take the lines in turn. An entry samples `channel` at
/// `first_place + step * n` ticks after the line start, n = 0 .. places-1 and again, one place per use.
struct ScheduleEntry {
    uint8_t channel = 0;
    uint16_t first_place = 0;
    uint16_t step = 0;
    uint16_t places = 0;

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("channel", "bits 0-6: 0-7; bit 7: sampled for the guard only, not sent", channel);
        v.field("first_place", "ticks after the line start", first_place);
        v.field("step", "ticks", step);
        v.field("places", "number of places, at least 1", places);
    }
};

/// Which edges of a retrace input are stamped.
enum class EdgeMode : uint8_t { kOff = 0, kRising = 1, kFalling = 2, kBoth = 3 };

/// Followed by `entries` ScheduleEntry on the wire (0 entries: no sampling).
struct CaptureSettings {
    uint8_t line_edge_mode = 0;
    uint8_t field_edge_mode = 0;
    uint8_t adc_prescale_log2 = 4; ///< 4 to 7: ADC clock = CPU clock / 2^n
    uint8_t entries = 0;
    ScheduleEntry schedule[kMaxSchedule] = {};

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("line_edge_mode", "EdgeMode of the line retrace input", line_edge_mode);
        v.field("field_edge_mode", "EdgeMode of the field retrace input", field_edge_mode);
        v.field("adc_prescale_log2", "4 to 7: ADC clock is the CPU clock / 2^n", adc_prescale_log2);
        v.field("entries", "number of schedule entries, 0 to 12", entries);
        for (uint8_t i = 0; i < kMaxSchedule; ++i) {
            schedule[i].visit(v); // always all: one size, unused entries are 0
        }
    }
};

struct CaptureStarted {
    uint32_t time = 0;
    uint16_t aperture_ticks = 0;
    uint16_t conversion_ticks = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("time", "device time at the start, ticks", time);
        v.field("aperture_ticks", "from trigger to the held sample", aperture_ticks);
        v.field("conversion_ticks", "from trigger to the result", conversion_ticks);
    }
};

struct CaptureStopped {
    uint16_t blocks = 0;
    uint32_t words_dropped = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("blocks", "blocks sealed since start_capture: sequence numbers below this, modulo 65536",
                blocks);
        v.field("words_dropped", "words lost because the pool was full", words_dropped);
    }
};

struct ReadBlocksRequest {
    uint16_t first = 0;
    uint8_t count = 0;
    uint16_t free_below = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("first", "first sequence number wanted", first);
        v.field("count", "how many, at most", count);
        v.field("free_below", "blocks before this number may be reused", free_below);
    }
};

struct ReadBlocksAnswer {
    uint16_t sent_from = 0;
    uint8_t sent = 0;
    uint16_t oldest = 0;
    uint16_t next = 0;
    uint8_t capturing = 0;
    uint32_t words_dropped = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("sent_from", "first block sent just now", sent_from);
        v.field("sent", "number of blocks sent just now", sent);
        v.field("oldest", "oldest block held", oldest);
        v.field("next", "number the next sealed block will have", next);
        v.field("capturing", "1 while capture runs", capturing);
        v.field("words_dropped", "words lost because the pool was full", words_dropped);
    }
};

constexpr uint8_t kGuardChannels = 8;

/// What readings may be while the supply is on, in raw codes: the host knows scale and calibration. A reading
/// is out of range when it lies below low or above high.
struct GuardLimits {
    uint16_t low[kGuardChannels] = {};        ///< live, once settled
    uint16_t high[kGuardChannels] = {};       ///< live
    uint16_t start_high[kGuardChannels] = {}; ///< starting
    uint16_t span[2] = {};                    ///< live, once settled: least swing of v_yoke_a and h_yoke_a
    uint16_t rail_up = 0;                     ///< supply_v code from which bypass is allowed
    uint16_t rail_off = 0;                    ///< supply_v code below which a rail counts as off, for the check
    uint16_t reference_low = 0;               ///< ref_v codes allowed in the check
    uint16_t reference_high = 0;
    uint16_t start_ms = 0;   ///< longest time in starting
    uint16_t settle_ms = 0;  ///< after bypass, until low limits, swing and retrace are watched
    uint16_t retrace_ms = 0; ///< longest time without a retrace edge of a watched input
    uint8_t strikes = 0;     ///< readings out of range in a row that trip
    uint8_t loads = 0;       ///< bit 0 vertical, bit 1 horizontal: load relays to close
    uint8_t watch = 0;       ///< bit 0 field, bit 1 line: retrace inputs watched

    template <class Visitor> constexpr void visit(Visitor& v) {
        for (uint8_t i = 0; i < kGuardChannels; ++i) {
            v.field("low", "lowest code, live and settled, channels 0 to 7", low[i]);
        }
        for (uint8_t i = 0; i < kGuardChannels; ++i) {
            v.field("high", "highest code, live, channels 0 to 7", high[i]);
        }
        for (uint8_t i = 0; i < kGuardChannels; ++i) {
            v.field("start_high", "highest code, starting, channels 0 to 7", start_high[i]);
        }
        v.field("span_v", "least swing of v_yoke_a, codes; 0: not watched", span[0]);
        v.field("span_h", "least swing of h_yoke_a, codes; 0: not watched", span[1]);
        v.field("rail_up", "supply_v code from which the soft start may end", rail_up);
        v.field("rail_off", "supply_v code below which the rail counts as off", rail_off);
        v.field("reference_low", "lowest ref_v code the check takes", reference_low);
        v.field("reference_high", "highest ref_v code the check takes", reference_high);
        v.field("start_ms", "longest time in starting, ms, 100 to 10000", start_ms);
        v.field("settle_ms", "from live until low limits, swing and retrace are watched, ms, 50 to 10000",
                settle_ms);
        v.field("retrace_ms", "longest time without a watched retrace edge, ms, 20 to 1000", retrace_ms);
        v.field("strikes", "readings out of range in a row that trip, 1 or 2", strikes);
        v.field("loads", "bit 0 vertical, bit 1 horizontal load relay", loads);
        v.field("watch", "bit 0 field, bit 1 line retrace input", watch);
    }
};

/// Which energise stage the host wants now. One stage per request: nothing is skipped, and a request that was
/// meant for another stage is refused.
struct PowerStage {
    uint8_t stage = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("stage", "BenchState wanted: 1 checked, 2 starting, 3 live", stage);
    }
};

struct PowerAnswer {
    uint8_t state = 0;
    uint8_t cause = 0;
    uint8_t relays = 0;
    uint8_t channel = 0;
    uint16_t code = 0;
    uint32_t trip_time = 0;
    uint8_t step = 0;
    uint16_t step_periods = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("state", "BenchState after the request", state);
        v.field("cause", "StopCause of the last stop", cause);
        v.field("relays", "bits 0 to 4: K1 to K5 closed", relays);
        v.field("channel", "channel of the reading that tripped; 255: none", channel);
        v.field("code", "its raw code; for load_lost its swing", code);
        v.field("trip_time", "device time of the last trip, ticks", trip_time);
        v.field("step", "StepState of the last load step", step);
        v.field("step_periods", "periods of it that are over", step_periods);
    }
};

/// A load step: with the board's supply off and K3, K4 at rest, where each load hangs on its step drive, K5 closes;
/// 30 ms later one load's drive (a MOSFET to the bench's step supply) goes on for `on_ticks`, off for `off_ticks`,
/// and again.
/// Every edge stands at an exact tick, first_edge + n * (on_ticks + off_ticks) going on and on_ticks later going
/// off: the samples of a capture that runs at the same time carry ticks of the same clock, so each falls at a
/// known place of the step. With a period that is no multiple of the line, samples of successive periods fall at
/// different places, and a step of microseconds is built up point by point.
struct StepSettings {
    uint8_t load = 0;
    uint32_t on_ticks = 0;
    uint32_t off_ticks = 0;
    uint16_t periods = 0;
    uint16_t rail_off = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("load", "1 vertical, 2 horizontal", load);
        v.field("on_ticks", "drive on, ticks, 32768 to 1600000", on_ticks);
        v.field("off_ticks", "drive off, ticks, 32768 to 1600000", off_ticks);
        v.field("periods", "how many; all together at most 10 s", periods);
        v.field("rail_off", "supply_v code below which the rail counts as off", rail_off);
    }
};

constexpr uint32_t kMinStepTicks = 32768;     ///< the device's main loop is in time for this
constexpr uint32_t kMaxStepTicks = 1600000;   ///< 0.1 s
constexpr uint32_t kMaxStepSeconds = 10;

struct StepStarted {
    uint32_t first_edge = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("first_edge", "device time at which the drive goes on first, ticks", first_edge);
    }
};

/// What a calibration found, as the device keeps it: two copies in its EEPROM, the newest whole one counts.
/// Signed fields are two's complement in their unsigned type.
struct Calibration {
    uint32_t serial = 0;                   ///< of this bench
    uint32_t date = 0;                     ///< seconds since 1970-01-01 UTC
    uint8_t channels = 0;                  ///< bit n: channel n was calibrated
    uint8_t parts = 0;                     ///< CalibrationPart bits
    uint32_t gain[kGuardChannels] = {};    ///< true gain / nominal gain, in 1e-6: 1000000 is nominal
    uint32_t gain_u[kGuardChannels] = {};  ///< standard uncertainty of it, 1e-6
    uint32_t zero[kGuardChannels] = {};    ///< signed; true zero less nominal zero at the input, uV
    uint32_t zero_u[kGuardChannels] = {};  ///< standard uncertainty of it, uV
    uint32_t clock_ppb = 0;                ///< signed; true clock rate / nominal - 1, in 1e-9
    uint32_t clock_u_ppb = 0;
    uint32_t adc_reference_uv = 0; ///< true ADC reference
    uint32_t adc_reference_u_uv = 0;
    uint32_t trigger_delay_ps = 0; ///< signed; true aperture less the one told by start_capture
    uint32_t trigger_delay_u_ps = 0;

    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("serial", "serial number of this bench", serial);
        v.field("date", "seconds since 1970-01-01 UTC", date);
        v.field("channels", "bit n: channel n was calibrated", channels);
        v.field("parts", "bit 0 clock, bit 1 ADC reference, bit 2 trigger delay calibrated", parts);
        for (uint8_t i = 0; i < kGuardChannels; ++i) {
            v.field("gain", "true gain / nominal, 1e-6, channels 0 to 7; 500000 to 2000000", gain[i]);
        }
        for (uint8_t i = 0; i < kGuardChannels; ++i) {
            v.field("gain_u", "standard uncertainty of it, 1e-6, channels 0 to 7", gain_u[i]);
        }
        for (uint8_t i = 0; i < kGuardChannels; ++i) {
            v.field("zero", "true zero less nominal at the input, uV, signed, channels 0 to 7", zero[i]);
        }
        for (uint8_t i = 0; i < kGuardChannels; ++i) {
            v.field("zero_u", "standard uncertainty of it, uV, channels 0 to 7", zero_u[i]);
        }
        v.field("clock_ppb", "true clock rate / nominal - 1, 1e-9, signed", clock_ppb);
        v.field("clock_u_ppb", "standard uncertainty of it", clock_u_ppb);
        v.field("adc_reference_uv", "true ADC reference, uV", adc_reference_uv);
        v.field("adc_reference_u_uv", "standard uncertainty of it", adc_reference_u_uv);
        v.field("trigger_delay_ps", "true aperture less the one told, ps, signed", trigger_delay_ps);
        v.field("trigger_delay_u_ps", "standard uncertainty of it", trigger_delay_u_ps);
    }
};

/// Bits of Calibration::parts.
enum CalibrationPart : uint8_t {
    kCalibratedClock = 0x01,
    kCalibratedReference = 0x02,
    kCalibratedTrigger = 0x04,
};

/// What is kept of calibrations, and the newest whole one; zeros where there is none.
struct CalibrationAnswer {
    uint8_t copies = 0;
    uint8_t newest = 0;
    uint32_t sequence = 0;
    Calibration calibration;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("copies", "bits 0, 1: copy 1, 2 is whole; bits 4, 5: it is empty; neither: damaged", copies);
        v.field("newest", "copy that counts, 1 or 2; 0: none, the bench is not calibrated", newest);
        v.field("sequence", "how often a calibration was written", sequence);
        calibration.visit(v);
    }
};

struct StoreAnswer {
    uint16_t left = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("left", "bytes still to be written; 0: done", left);
    }
};

constexpr uint8_t kEchoBytes = 200;

struct RefusedAnswer {
    uint8_t request = 0;
    uint8_t reason = 0;
    uint32_t detail = 0;
    template <class Visitor> constexpr void visit(Visitor& v) {
        v.field("request", "MessageKind that was refused", request);
        v.field("reason", "RefusalReason", reason);
        v.field("detail", "what the reason's row says", detail);
    }
};

// ---- the tables ------------------------------------------------------------------------------------

/// Requests: X(name, id, request type, answer type, what it does). Payloads are the types' fields in order;
/// `echo` carries free bytes both ways.
#define YOKEDOCK_REQUESTS(X)                                                                          \
    X(identify, 0x01, IdentifyRequest, IdentifyAnswer, "who are you; first exchange of a session")   \
    X(status, 0x02, Empty, StatusAnswer, "state, counters; keeps the session alive")                  \
    X(set_sync, 0x03, SyncSettings, SyncAchieved, "new sync; answers what is achieved")               \
    X(sync_output, 0x04, SyncOutput, SyncOutput, "sync on or off, without a glitch")                  \
    X(set_video, 0x05, VideoSettings, VideoSettings, "picture on the video pin")                      \
    X(start_capture, 0x06, CaptureSettings, CaptureStarted, "start sampling and edge stamps; empties the pool") \
    X(stop_capture, 0x07, Empty, CaptureStopped, "stop, and seal the open blocks")                    \
    X(read_blocks, 0x08, ReadBlocksRequest, ReadBlocksAnswer, "numbered blocks, then the answer")     \
    X(power_off, 0x09, Empty, PowerAnswer, "every relay off, state idle; always obeyed")              \
    X(power_on, 0x0A, PowerStage, PowerAnswer, "next energise stage: check, start or bypass")         \
    X(echo, 0x0B, Empty, Empty, "returns its 0 to 200 payload bytes: link test")                      \
    X(set_guard, 0x0C, GuardLimits, Empty, "limits of readings; idle only")                           \
    X(power, 0x0D, Empty, PowerAnswer, "state, relays, the last trip, the load step")                 \
    X(step_load, 0x0E, StepSettings, StepStarted, "current steps into one load, supply off; idle only; ends capture") \
    X(write_calibration, 0x0F, Calibration, StoreAnswer, "kept in the device; idle only; empties the pool") \
    X(read_calibration, 0x10, Empty, CalibrationAnswer, "the newest whole copy")                      \
    X(store_state, 0x11, Empty, StoreAnswer, "how far the writing is")

/// Frames from the device that are not the answer to one request kind: X(name, id, head type, meaning).
#define YOKEDOCK_DEVICE_FRAMES(X)                                                                     \
    X(block, 0x40, BlockHead, "one block of bulk data, part of read_blocks")                          \
    X(refused, 0x7F, RefusedAnswer, "the request was not done, and why")

/// X(name, id, meaning of detail, text for a person)
#define YOKEDOCK_REFUSALS(X)                                                                          \
    X(unknown_request, 1, "0", "the firmware does not know this request")                             \
    X(bad_size, 2, "payload size received", "the request has the wrong size")                         \
    X(bad_value, 3, "index of the offending field, from 0", "a value is out of range")                \
    X(wrong_state, 4, "BenchState", "not possible in the bench's present state")                      \
    X(not_fitted, 5, "0", "this firmware or bench has no such function")                              \
    X(version, 6, "protocol version of the device", "host and firmware speak different protocols")    \
    X(not_ready, 7, "StopCause that stands against it", "something stands against it now")            \
    X(storing, 8, "bytes still to be written", "a calibration is being written; ask again in a second")

/// X(name, id, text)
#define YOKEDOCK_BENCH_STATES(X)                                                                      \
    X(idle, 0, "supply off, nothing checked")                                                         \
    X(checked, 1, "supply off, load and sensors checked")                                             \
    X(starting, 2, "supply on through the soft-start resistor")                                       \
    X(live, 3, "supply on")                                                                           \
    X(tripped, 4, "supply off after a fault; the cause is kept")

/// X(name, id, text, next step). Why the supply went off, was never on, or may not go on.
#define YOKEDOCK_STOP_CAUSES(X)                                                                       \
    X(none, 0, "never switched on", "nothing to do")                                                  \
    X(asked, 1, "switched off by request", "nothing to do")                                           \
    X(host_silent, 2, "the host was silent for longer than the agreed time",                          \
      "look at the cable and the computer; then start again")                                         \
    X(stop_button, 3, "stop button pressed, or its loop open",                                        \
      "release the button, look at the plug of its loop, then start again")                           \
    X(watchdog, 4, "the firmware hung and was reset",                                                 \
      "note what was being done; check the bench's own supply and grounding before going on")         \
    X(over_current, 5, "over-current comparator: the supply gave more than the hardware limit",       \
      "supply off, measure the rail to ground with an ohmmeter: a shorted output IC, reversed "       \
      "part, shorted yoke or capacitor")                                                              \
    X(check_expired, 6, "the check was too old to start on", "check again, and start within 30 s")    \
    X(supply_high, 7, "the board supply rail is above its limit",                                     \
      "look at the mains or transformer tap and the regulator before anything else: a high rail "     \
      "kills the vertical output IC")                                                                 \
    X(supply_low, 8, "the board supply rail is below its limit",                                      \
      "look for an overload (current), the rectifier and the reservoir")                              \
    X(supply_current, 9, "the board draws more current than its limit",                               \
      "look for a part fitted backwards, a shorted output IC or yoke; feel nothing, measure ohms")    \
    X(output_high, 10, "the vertical output node is above its limit",                                 \
      "look at the rail, the yoke plug and the damping resistor")                                     \
    X(output_low, 11, "the vertical output node is below its limit",                                  \
      "look at the vertical output IC and its coupling capacitor")                                    \
    X(retrace_peak, 12, "the horizontal retrace peak is above its limit",                             \
      "look at the retrace capacitor (open or low) and the line rate before powering again")          \
    X(heatsink, 13, "the heat sink is too hot, or its sensor is shorted",                             \
      "let it cool; look at rail, yoke and the heat sink's contact")                                  \
    X(heatsink_sensor, 14, "the heat-sink sensor is open", "plug the sensor in")                      \
    X(load_current, 15, "a load current is above its limit",                                          \
      "look at the yoke or load: shorted turns, wrong winding, swapped plugs")                        \
    X(load_lost, 16, "a load that should carry current carries none",                                 \
      "look at the yoke or load plug and its relay")                                                  \
    X(field_retrace_missing, 17, "no vertical retrace pulse",                                         \
      "look at the vertical oscillator and output, and the comparator lead")                          \
    X(line_retrace_missing, 18, "no horizontal retrace pulse",                                        \
      "look at the line oscillator, driver and output, and the comparator lead")                      \
    X(rail_not_up, 19, "the rail did not come up through the soft-start resistor",                    \
      "something draws current or the supply is not connected: measure the rail to ground in ohms")   \
    X(rail_on, 20, "the board's rail carries voltage although the supply is off",                     \
      "wait until its reservoirs are empty, or find what feeds it")                                   \
    X(reference, 21, "the bench's own reference reads wrong",                                         \
      "no reading can be trusted: mend the bench's front end first")                                  \
    X(no_limits, 22, "no limits were set in this session", "give a profile with limits")              \
    X(relays_settling, 23, "relays are still settling", "wait a second and ask again")                \
    X(not_watched, 24, "the capture or sync asked for leaves guarded channels unsampled for too long", \
      "fewer schedule entries, or a guarded channel that is missing added to them")                   \
    X(reset_pin, 25, "the bench's microcontroller was reset by its reset pin or serial adapter",      \
      "start again; if nobody asked for a reset, look at the cable")                                  \
    X(brown_out, 26, "the bench's own supply broke down",                                             \
      "look at the bench's own supply and at what the relays draw; then start again")                 \
    X(step_late, 27, "an edge of the load step could not be put in its place in time",                \
      "ask for the load step again")

/// X(name, id, text)
#define YOKEDOCK_STEP_STATES(X)                                                                       \
    X(none, 0, "no load step since the start")                                                        \
    X(closing, 1, "relays closed, contacts settling")                                                 \
    X(running, 2, "the drive goes on and off")                                                        \
    X(done, 3, "all periods were driven; off")                                                        \
    X(stopped, 4, "stopped before its end; off")

/// X(name, id, text)
#define YOKEDOCK_RESET_CAUSES(X)                                                                      \
    X(power, 0, "power applied")                                                                      \
    X(external, 1, "reset pin")                                                                       \
    X(brown_out, 2, "bench supply too low")                                                           \
    X(watchdog_reset, 3, "watchdog")

/// Bits of StatusAnswer::flags.
enum StatusFlag : uint8_t { kStatusSyncOn = 0x01, kStatusCapturing = 0x02 };

enum class MessageKind : uint8_t {
#define X(name, id, request, answer, text) name = id,
    YOKEDOCK_REQUESTS(X)
#undef X
#define X(name, id, head, text) name = id,
        YOKEDOCK_DEVICE_FRAMES(X)
#undef X
};

enum class RefusalReason : uint8_t {
#define X(name, id, detail, text) name = id,
    YOKEDOCK_REFUSALS(X)
#undef X
};

enum class BenchState : uint8_t {
#define X(name, id, text) name = id,
    YOKEDOCK_BENCH_STATES(X)
#undef X
};

enum class StopCause : uint8_t {
#define X(name, id, text, next_step) name = id,
    YOKEDOCK_STOP_CAUSES(X)
#undef X
};

enum class StepState : uint8_t {
#define X(name, id, text) name = id,
    YOKEDOCK_STEP_STATES(X)
#undef X
};

enum class ResetCause : uint8_t {
#define X(name, id, text) name = id,
    YOKEDOCK_RESET_CAUSES(X)
#undef X
};

/// The request and answer type of a kind, and its id as a constant, as types: requests::identify::Request.
namespace requests {
#define X(name, id, request, answer, text)                                                            \
    struct name {                                                                                     \
        using Request = request;                                                                      \
        using Answer = answer;                                                                        \
        static constexpr MessageKind kind = MessageKind::name;                                        \
    };
YOKEDOCK_REQUESTS(X)
#undef X
} // namespace requests

constexpr MessageKind answer_to(MessageKind request) {
    return static_cast<MessageKind>(static_cast<uint8_t>(request) | kAnswerBit);
}

} // namespace wire
} // namespace yokedock
