// SPDX-License-Identifier: MIT
// The supply, its guard and the load step: looks at everything that may end them once per round of
// the main loop, and answers the requests that have to do with them. Hardware: see device.hpp.
//
// Sampling never stands still while the supply is on: where the host captures nothing the guard
// samples for itself (the watch), and keeps its samples in the pool as long as the host wants
// nothing that is there. A trip lets sampling go on for kAfterTripMs, and then the pool stays as it
// is, to be read.
#pragma once
#include "firmware/core/bench_state.hpp"
#include "firmware/core/guard.hpp"
#include "firmware/core/limits.hpp"
#include "firmware/core/requests.hpp"
#include "firmware/core/schedule_watch.hpp"
#include "firmware/core/step_drive.hpp"

namespace yokedock {
namespace firmware {

constexpr uint16_t kAfterTripMs = 10;

template <class Hardware> class PowerControl {
  public:
    using Cause = wire::StopCause;

    explicit PowerControl(Hardware& hardware) : hw_(hardware), step_(hardware) {}

    /// Once, after reset.
    void begin() {
        hw_.set_relays(0);
        step_.stop();
        bench_ = BenchMachine(hw_.reset_cause());
        last_heard_ = last_ms_ = hw_.now();
    }

    /// Once per round of the main loop, before requests are taken. What need not be looked at in
    /// every round waits for the next millisecond: the rest of the main loop has little time.
    void poll() {
        look();
        const uint32_t now = hw_.now();
        if (now - last_ms_ >= kTicksPerMs) {
            pass_time(now);
            each_millisecond(now);
        }
        drive_step(now);
    }

    /// What handlers have seen is taken over: before a state is told, too, for a round of the main
    /// loop may last a millisecond.
    void look() {
        if (hw_.stop_pressed()) {
            stop(Cause::stop_button);
        }
        if (hw_.over_current()) {
            stop(Cause::over_current);
        }
        if (bench_.supply_on() && hw_.guard().cause() != Cause::none) {
            stop(hw_.guard().cause()); // the conversion handler has tripped
        }
    }

    /// A frame with a right CRC came.
    void heard() { last_heard_ = hw_.now(); }

    const BenchMachine& bench() const { return bench_; }

    // ---- captures: what the host may sample, and what the pool holds
    // ----------------------------------------------------------------

    bool capturing() const { return capturing_; }

    /// While the supply is on every guarded channel is looked at often enough.
    bool allows(const wire::CaptureSettings& settings, uint16_t line_ticks) {
        return !bench_.supply_on() ||
               watches_enough(settings, hw_.guard().limits(), line_ticks, picture_, hw_.clock_hz());
    }
    /// The same for a running capture at another line rate.
    bool allows_line(uint16_t line_ticks) {
        return !capturing_ || allows(hw_.capture_settings(), line_ticks);
    }
    /// A picture takes time: the watch is planned anew.
    void note_picture(bool on) {
        picture_ = on;
        if (watching_ && freeze_ms_ == 0) {
            freeze();
        }
    }
    bool picture() const { return picture_; }

    void start_capture(const wire::CaptureSettings& settings) {
        freeze();
        hw_.pool().reset();
        hw_.locked([&] { hw_.guard().follow(settings); });
        hw_.start_capture(settings);
        capturing_ = true;
        drained_ = true;
    }

    void stop_capture() {
        if (capturing_) {
            hw_.stop_capture();
            capturing_ = false;
            drained_ = false;
            follow_stage(); // the guard goes on
        }
    }

    /// Any sampling ends; the pool stays as it is.
    void freeze() {
        if (capturing_ || watching_) {
            hw_.stop_capture();
        }
        capturing_ = watching_ = false;
        freeze_ms_ = 0;
    }

    /// Blocks below this may go. False while the pool is the guard's: nothing can be read then.
    bool free_below(uint16_t number) {
        if (watching_ && keeping_) {
            return false;
        }
        hw_.pool().free_below(number);
        drained_ = drained_ || (!capturing_ && hw_.pool().oldest() == hw_.pool().next());
        return true;
    }

    // ---- requests: Cause::none when done, else what stands against it; nothing has moved then
    // ----------------------------------------------------------------------------------------

    void power_off() {
        step_.stop();
        bench_.power_off();
        hw_.set_relays(bench_.relays());
    }

    /// stage: the state wanted, which must be the next one (the caller has looked).
    Cause power_on(wire::BenchState stage) {
        const Cause against = stage == wire::BenchState::checked    ? check()
                              : stage == wire::BenchState::starting ? start()
                                                                    : bypass();
        if (against == Cause::none) {
            follow_stage();
            hw_.set_relays(bench_.relays());
        }
        return against;
    }

    /// In state idle (the caller has looked); settings have passed check_step().
    Cause begin_step(const wire::StepSettings& settings, uint32_t& first_edge) {
        hw_.rearm_protection();
        const Cause danger = unsafe();
        if (danger != Cause::none) {
            return danger;
        }
        freeze(); // readings by hand need the converter
        if (hw_.convert(static_cast<uint8_t>(ChannelId::supply_v)) >= settings.rail_off) {
            return Cause::rail_on;
        }
        if (!bench_.begin_step()) {
            return Cause::relays_settling;
        }
        hw_.set_relays(bench_.relays());
        first_edge = hw_.now() + kTicksPerMs * kContactMs;
        step_.begin(settings, first_edge);
        return Cause::none;
    }

    wire::PowerAnswer answer() {
        look();
        wire::PowerAnswer p;
        p.state = static_cast<uint8_t>(bench_.state());
        p.cause = static_cast<uint8_t>(bench_.cause());
        p.relays = bench_.relays();
        p.channel = hw_.guard().channel();
        p.code = hw_.guard().code();
        p.trip_time = trip_time_;
        p.step = static_cast<uint8_t>(bench_.step());
        p.step_periods = step_.periods();
        return p;
    }

  private:
    static constexpr uint32_t kTicksPerMs = Hardware::clock_hz() / 1000u;

    void each_millisecond(uint32_t now) {
        constexpr uint32_t limit = kTicksPerMs * kSilenceLimitMs;
        if (now - last_heard_ > limit) {
            stop(Cause::host_silent);
            last_heard_ = now - limit; // stays silent when the tick count wraps
        }
        if (bench_.supply_on()) {
            watch_readings();
        }
        follow_stage();
        hw_.set_relays(bench_.relays());
    }

    void pass_time(uint32_t now) {
        uint32_t ms = 1; // as it is nearly always: a division takes long
        if (now - last_ms_ >= 2 * kTicksPerMs) {
            ms = (now - last_ms_) / kTicksPerMs;
        }
        last_ms_ += ms * kTicksPerMs;
        while (ms != 0) {
            const uint16_t part = ms > 1000 ? uint16_t{1000} : static_cast<uint16_t>(ms);
            bench_.pass_ms(part);
            since_span_ms_ = static_cast<uint16_t>(since_span_ms_ + part);
            for (uint16_t& quiet : quiet_ms_) {
                quiet = static_cast<uint16_t>(quiet > 60000 ? quiet : quiet + part);
            }
            if (freeze_ms_ != 0 && freeze_ms_ <= part) {
                freeze();
            } else if (freeze_ms_ != 0) {
                freeze_ms_ = static_cast<uint16_t>(freeze_ms_ - part);
            }
            ms -= part;
        }
    }

    /// A reason to be off, whatever is on; the newest samples are kept for who asks why.
    void stop(Cause cause) {
        const bool was_on = bench_.supply_on();
        if (bench_.stepping()) {
            step_.stop(); // before its relay
        }
        bench_.stop(cause);
        hw_.set_relays(bench_.relays());
        if (was_on) {
            trip_time_ = hw_.now();
            freeze_ms_ = kAfterTripMs;
        }
    }

    void watch_readings() {
        Guard& guard = hw_.guard();
        const wire::GuardLimits& limits = guard.limits();
        if (bench_.state() == wire::BenchState::starting && bench_.age_ms() > limits.start_ms) {
            stop(Cause::rail_not_up);
            return;
        }
        if (guard.stage() != Guard::Stage::kSettled) {
            return;
        }
        if (since_span_ms_ >= Guard::kSpanMs) {
            since_span_ms_ = 0;
            for (uint8_t channel = 0; channel < 2; ++channel) {
                Guard::Span span{};
                hw_.locked([&] { span = guard.take_span(channel); });
                if (guard.judge_span(channel, span) != Cause::none) {
                    stop(Cause::load_lost);
                    return;
                }
            }
        }
        watch_retrace(false, limits);
        watch_retrace(true, limits);
    }

    void watch_retrace(bool line, const wire::GuardLimits& limits) {
        const uint8_t at = line ? 1 : 0;
        if ((limits.watch & (1u << at)) == 0 || !bench_.supply_on()) {
            quiet_ms_[at] = 0;
            return;
        }
        const uint32_t edges = hw_.retrace_edges(line);
        if (edges != edges_seen_[at]) {
            edges_seen_[at] = edges;
            quiet_ms_[at] = 0;
        } else if (quiet_ms_[at] > limits.retrace_ms) {
            stop(line ? Cause::line_retrace_missing : Cause::field_retrace_missing);
        }
    }

    void drive_step(uint32_t now) {
        switch (step_.poll(now)) {
        case StepDrive<Hardware>::Event::kBegun:
            bench_.run_step();
            break;
        case StepDrive<Hardware>::Event::kDone:
            bench_.end_step(true);
            break;
        case StepDrive<Hardware>::Event::kLate:
            stop(Cause::step_late);
            break;
        case StepDrive<Hardware>::Event::kNone:
            break;
        }
    }

    /// The guard's stage is the bench's; sampling goes on while the supply is on.
    void follow_stage() {
        Guard& guard = hw_.guard();
        const Guard::Stage stage = Guard::stage_of(bench_, guard.limits());
        if (stage != guard.stage()) {
            hw_.locked([&] { guard.stage(stage); });
            since_span_ms_ = 0;
            quiet_ms_[0] = quiet_ms_[1] = 0;
        }
        const bool on = bench_.supply_on();
        if (watching_ && freeze_ms_ == 0 && (!on || keeping_ != drained_)) {
            freeze();
        }
        if (on && !capturing_ && !watching_) {
            start_watch();
        }
    }

    void start_watch() {
        const uint16_t line = static_cast<uint16_t>(2 * hw_.sync_plan().half_line_ticks);
        const wire::CaptureSettings watch =
            guard_schedule(hw_.guard().limits(), line, drained_ /* else the host's blocks stay */);
        if (drained_) {
            hw_.pool().reset();
        }
        hw_.locked([&] { hw_.guard().follow(watch); });
        hw_.start_watch(watch, drained_);
        keeping_ = drained_;
        watching_ = true;
    }

    Cause unsafe() {
        return hw_.stop_pressed()   ? Cause::stop_button
               : hw_.over_current() ? Cause::over_current
                                    : Cause::none;
    }

    /// What stands against leaving idle; the bench's own reference and an empty rail are looked at
    /// here, whatever the host believes.
    Cause check() {
        const Guard& guard = hw_.guard();
        if (!guard.armed()) {
            return Cause::no_limits;
        }
        hw_.rearm_protection();
        const Cause danger = unsafe();
        if (danger != Cause::none) {
            return danger;
        }
        freeze(); // readings by hand need the converter
        const wire::GuardLimits& limits = guard.limits();
        const uint16_t reference = hw_.convert(static_cast<uint8_t>(ChannelId::ref_v));
        if (Guard::outside(reference, limits.reference_low, limits.reference_high)) {
            return Cause::reference;
        }
        if (hw_.convert(static_cast<uint8_t>(ChannelId::supply_v)) >= limits.rail_off) {
            return Cause::rail_on;
        }
        const uint8_t loads =
            static_cast<uint8_t>(((limits.loads & 1) != 0 ? kRelayVertical : 0) |
                                 ((limits.loads & 2) != 0 ? kRelayHorizontal : 0));
        return bench_.check(loads) ? Cause::none : Cause::relays_settling;
    }

    Cause start() {
        const Cause danger = unsafe();
        if (danger != Cause::none) {
            return danger;
        }
        if (!bench_.start()) {
            return Cause::relays_settling;
        }
        hw_.locked([&] { hw_.guard().forget_trip(); });
        freeze(); // a capture that leaves guarded channels out may not go on
        drained_ = true;
        return Cause::none;
    }

    Cause bypass() {
        uint16_t rail = 0;
        hw_.locked([&] {
            rail = hw_.guard().path.reading[static_cast<uint8_t>(ChannelId::supply_v)].last;
        });
        if (rail < hw_.guard().limits().rail_up) {
            return Cause::rail_not_up;
        }
        return bench_.bypass() ? Cause::none : Cause::relays_settling;
    }

    Hardware& hw_;
    BenchMachine bench_;
    StepDrive<Hardware> step_;
    bool capturing_ = false; ///< for the host
    bool watching_ = false;  ///< for the guard alone
    bool keeping_ = false;   ///< that keeps its samples
    bool drained_ = true;    ///< nothing in the pool that the host still wants
    bool picture_ = false;
    uint16_t freeze_ms_ = 0; ///< after a trip, until sampling ends
    uint32_t last_heard_ = 0;
    uint32_t last_ms_ = 0;
    uint32_t trip_time_ = 0;
    uint16_t since_span_ms_ = 0;
    uint16_t quiet_ms_[2] = {}; ///< since the last edge of field and line retrace
    uint32_t edges_seen_[2] = {};
};

} // namespace firmware
} // namespace yokedock
