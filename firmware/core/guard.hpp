// SPDX-License-Identifier: MIT
// Limits of readings while the supply is on: which reading trips, and why. The conversion handler
// compares each code with two numbers per channel (path); everything else is here and in the main
// loop.
#pragma once
#include "firmware/core/bench_state.hpp"
#include "shared/channels.hpp"

namespace yokedock {
namespace firmware {

class Guard {
  public:
    using Cause = wire::StopCause;

    /// Index of the first field that cannot be, in visit order, or 0xFF.
    static uint8_t check(const wire::GuardLimits& l) {
        constexpr uint8_t n = wire::kGuardChannels;
        for (uint8_t i = 0; i < n; ++i) {
            if (l.low[i] >= kAdcCodes || l.low[i] > l.high[i]) {
                return i;
            }
        }
        for (uint8_t i = 0; i < n; ++i) {
            if (l.high[i] >= kAdcCodes) {
                return static_cast<uint8_t>(n + i);
            }
        }
        for (uint8_t i = 0; i < n; ++i) {
            if (l.start_high[i] >= kAdcCodes) {
                return static_cast<uint8_t>(2 * n + i);
            }
        }
        constexpr uint8_t rest = 3 * n;
        // A limit that no reading can pass is none, and these three must be limits.
        if (l.high[index(ChannelId::supply_v)] == kAdcCodes - 1) {
            return static_cast<uint8_t>(n + index(ChannelId::supply_v));
        }
        if (l.high[index(ChannelId::supply_a)] == kAdcCodes - 1) {
            return static_cast<uint8_t>(n + index(ChannelId::supply_a));
        }
        if (l.start_high[index(ChannelId::supply_a)] == kAdcCodes - 1) {
            return static_cast<uint8_t>(2 * n + index(ChannelId::supply_a));
        }
        if (l.span[0] >= kAdcCodes || l.span[1] >= kAdcCodes) {
            return static_cast<uint8_t>(l.span[0] >= kAdcCodes ? rest : rest + 1);
        }
        if (l.rail_up >= kAdcCodes || l.rail_up < l.rail_off) {
            return rest + 2;
        }
        if (l.rail_off >= kAdcCodes) {
            return rest + 3;
        }
        if (l.reference_low > l.reference_high) {
            return rest + 4;
        }
        if (l.reference_high >= kAdcCodes) {
            return rest + 5;
        }
        if (l.start_ms < 100 || l.start_ms > 10000) {
            return rest + 6;
        }
        if (l.settle_ms < 50 || l.settle_ms > 10000) {
            return rest + 7;
        }
        if (l.retrace_ms < 20 || l.retrace_ms > 1000) {
            return rest + 8;
        }
        if (l.strikes < 1 || l.strikes > kMostStrikes) {
            return rest + 9;
        }
        if (l.loads > 3) {
            return rest + 10;
        }
        return l.watch > 3 ? static_cast<uint8_t>(rest + 11) : uint8_t{0xFF};
    }

    void set(const wire::GuardLimits& limits) {
        limits_ = limits;
        armed_ = true;
        stage(Stage::kOff);
    }
    bool armed() const { return armed_; }
    const wire::GuardLimits& limits() const { return limits_; }

    enum class Stage : uint8_t { kOff, kStarting, kLive, kSettled };
    static Stage stage_of(const BenchMachine& bench, const wire::GuardLimits& limits) {
        switch (bench.state()) {
        case wire::BenchState::starting:
            return Stage::kStarting;
        case wire::BenchState::live:
            return bench.age_ms() >= limits.settle_ms ? Stage::kSettled : Stage::kLive;
        default:
            return Stage::kOff;
        }
    }

    /// Which limits are in force. Conversion handler held off.
    void stage(Stage stage) {
        stage_ = stage;
        for (uint8_t i = 0; i < wire::kGuardChannels; ++i) {
            const bool none = stage == Stage::kOff;
            Reading& r = path.reading[i];
            r.low = stage == Stage::kSettled ? limits_.low[i] : 0;
            r.high = none                        ? kAdcCodes - 1
                     : stage == Stage::kStarting ? limits_.start_high[i]
                                                 : limits_.high[i];
            r.strikes = 0;
        }
        restart_spans();
        look();
    }
    Stage stage() const { return stage_; }

    static bool outside(uint16_t code, uint16_t low, uint16_t high) {
        return code < low || code > high;
    }

    /// One reading. True: the supply must go off now; cause() and the rest say why. From the
    /// conversion handler; a port may do the part for good readings by hand.
    bool reading(uint8_t channel, uint16_t code) {
        Reading& r = path.reading[channel];
        if (outside(code, r.low, r.high)) {
            return bad(channel, code);
        }
        r.strikes = 0;
        r.last = code;
        if (channel >= kSpanChannels) {
            return false;
        }
        r.least = code < r.least ? code : r.least;
        r.most = code > r.most ? code : r.most;
        r.count = r.count == 0xFF ? r.count : static_cast<uint8_t>(r.count + 1);
        return false;
    }
    /// The same for a reading outside its limits.
    bool bad(uint8_t channel, uint16_t code) {
        Reading& r = path.reading[channel];
        r.strikes = r.strikes == 0xFF ? r.strikes : static_cast<uint8_t>(r.strikes + 1);
        // The first cause is kept: after it the rail falls, and more readings go wrong.
        if (r.strikes < limits_.strikes || stage_ == Stage::kOff || cause_ != Cause::none) {
            return false;
        }
        tripped(channel, code, cause_of(channel, code > r.high));
        return true;
    }

    /// What a load current did since its span was last taken.
    struct Span {
        uint16_t least;
        uint16_t most;
        uint8_t count; ///< of readings; 0: too few, and more are waited for
    };
    /// channel 0 or 1. Every kSpanMs while settled, with the conversion handler held off.
    Span take_span(uint8_t channel) {
        Reading& r = path.reading[channel];
        if (r.count < span_readings_[channel]) {
            return {0, 0, 0};
        }
        const Span span{r.least, r.most, r.count};
        restart_span(r);
        return span;
    }
    /// load_lost where the current hardly moved.
    Cause judge_span(uint8_t channel, const Span& span) {
        const uint16_t swing = static_cast<uint16_t>(span.most - span.least);
        if (span.count == 0 || swing >= limits_.span[channel]) {
            return Cause::none;
        }
        tripped(channel, swing, Cause::load_lost);
        return Cause::load_lost;
    }

    /// Sampling begins by this schedule: every place of a load current must be seen before its
    /// swing is judged. Conversion handler held off.
    void follow(const wire::CaptureSettings& settings) {
        for (uint8_t& readings : span_readings_) {
            readings = kSpanReadings;
        }
        quiet_ = 0;
        for (uint8_t i = 0; i < settings.entries; ++i) {
            const uint8_t channel = settings.schedule[i].channel & wire::kScheduleChannelMask;
            const uint16_t places = settings.schedule[i].places;
            if (channel < kSpanChannels && places > span_readings_[channel]) {
                span_readings_[channel] = places > 0xFF ? 0xFF : static_cast<uint8_t>(places);
            }
            quiet_ |= settings.schedule[i].channel & wire::kScheduleQuiet;
        }
        restart_spans();
        look();
    }

    void tripped(uint8_t channel, uint16_t code, Cause cause) {
        channel_ = channel;
        code_ = code;
        cause_ = cause;
    }
    void forget_trip() { tripped(kNoChannel, 0, Cause::none); }
    uint8_t channel() const { return channel_; }
    uint16_t code() const { return code_; }
    Cause cause() const { return cause_; }

    static Cause cause_of(uint8_t channel, bool high) {
        switch (static_cast<ChannelId>(channel)) {
        case ChannelId::v_yoke_a:
        case ChannelId::h_yoke_a:
            return Cause::load_current;
        case ChannelId::supply_v:
            return high ? Cause::supply_high : Cause::supply_low;
        case ChannelId::supply_a:
            return high ? Cause::supply_current : Cause::load_lost;
        case ChannelId::v_out_v:
            return high ? Cause::output_high : Cause::output_low;
        case ChannelId::h_peak_v:
            return high ? Cause::retrace_peak : Cause::line_retrace_missing;
        case ChannelId::heatsink_c: // a hot NTC is a low code
            return high ? Cause::heatsink_sensor : Cause::heatsink;
        case ChannelId::ref_v:
            break;
        }
        return Cause::reference;
    }

    static constexpr uint8_t kNoChannel = 0xFF;
    static constexpr uint8_t kMostStrikes = 2;
    static constexpr uint8_t kSpanChannels = 2; ///< v_yoke_a and h_yoke_a
    static constexpr uint16_t kSpanMs = 60;     ///< three fields of 50 Hz

    /// What the conversion handler looks at, per channel.
    struct Reading {
        uint16_t low;
        uint16_t high;
        uint16_t last;  ///< newest inside its limits
        uint16_t least; ///< load currents, since their span was restarted
        uint16_t most;
        uint8_t strikes; ///< in a row outside
        uint8_t count;   ///< since the spans were restarted; stands still at 255
        uint32_t unused; ///< a power of two in size: the handler has no time to multiply
    };
    static_assert(sizeof(Reading) == 16, "see unused");
    struct Path {
        Reading reading[wire::kGuardChannels];
        volatile uint8_t watching; ///< 0: limits are off and no schedule entry is quiet, so that
                                   ///< the handler need not look at readings
    };
    Path path{};

  private:
    static constexpr uint8_t index(ChannelId id) { return static_cast<uint8_t>(id); }

    void look() { path.watching = stage_ != Stage::kOff || quiet_ != 0 ? 1 : 0; }

    static void restart_span(Reading& r) {
        r.least = kAdcCodes;
        r.most = 0;
        r.count = 0;
    }
    void restart_spans() {
        for (uint8_t i = 0; i < kSpanChannels; ++i) {
            restart_span(path.reading[i]);
        }
    }

    static constexpr uint8_t kSpanReadings = 24;

    wire::GuardLimits limits_{};
    uint8_t span_readings_[kSpanChannels] = {kSpanReadings, kSpanReadings};
    uint8_t quiet_ = 0;
    bool armed_ = false;
    Stage stage_ = Stage::kOff;
    uint8_t channel_ = kNoChannel;
    uint16_t code_ = 0;
    Cause cause_ = Cause::none;
};

} // namespace firmware
} // namespace yokedock
