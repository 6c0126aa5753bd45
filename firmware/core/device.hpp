// SPDX-License-Identifier: MIT
// The bench as the host sees it: takes received bytes, does what the requests ask, sends answers
// and blocks. Runs in the main loop; never waits. Everything below is reached through Hardware, a
// template argument: firmware/ports/avr/hardware.hpp on the device,
// firmware/ports/host/fake_hardware.hpp in host tests.
//
// Hardware provides
//   using Crc;                                       CRC step for FrameWriter
//   bool receive(uint8_t& byte);                     next received byte, if any
//   uint8_t* transmit_buffer();                      kMaxEncodedBytes to fill, nullptr: all are on
//   their way void transmit(uint8_t size);                     sends what was written there
//   uint32_t now();                                  device time, ticks
//   uint32_t clock_hz();                             ticks per second, nominal
//   uint32_t bench_serial();  wire::ResetCause reset_cause();
//   const wire::SyncAchieved& sync_plan();           the plan in force or pending, whichever is
//   newer void set_sync(const wire::SyncAchieved&);        from the next field on (at once while no
//   sync goes out) void set_output(bool on);  bool output();        sync pins, from the next field
//   on void set_video(wire::VideoPattern); void start_capture(const wire::CaptureSettings&);   from
//   the next field on where a sync change is pending void stop_capture(); stops and seals the open
//   blocks void read_counters(wire::StatusAnswer&);         the counters of the status answer auto&
//   pool();                                    a BlockPool
//   void set_relays(uint8_t);                        K1 to K5, bits as in bench_state.hpp
//   bool stop_pressed();  bool over_current();
//   Guard& guard();                                  the conversion handler feeds it; it opens K1
//                                                    and K2 itself when a reading trips
//   uint16_t convert(uint8_t channel);               one reading by hand; no capture may run
//   void start_watch(bool keep);                     samples the guarded channels and counts edges
//                                                    for the guard alone; keep: into the pool,
//                                                    where new blocks take the place of the oldest
//   template <class F> void locked(F);               runs F with the conversion handler held off
//   bool retrace_counted(bool line);                 edges of that input are being counted
//   uint32_t retrace_edges(bool line);               how many since the capture began
#pragma once
#include "firmware/core/bench_state.hpp"
#include "firmware/core/block_pool.hpp"
#include "firmware/core/frame_writer.hpp"
#include "firmware/core/guard.hpp"
#include "firmware/core/limits.hpp"
#include "firmware/core/requests.hpp"
#include "firmware/core/sampler.hpp"

namespace yokedock {
namespace firmware {

template <class Hardware> class Device {
  public:
    explicit Device(Hardware& hardware) : hw_(hardware) {}

    /// Once, after reset.
    void begin() {
        hw_.set_relays(0);
        bench_ = BenchMachine(hw_.reset_cause());
        last_heard_ = last_ms_ = hw_.now();
    }

    /// One round of the main loop. True when there may be more to do at once.
    bool poll() {
        guard();
        bool busy = take_bytes();
        if (answer_due_) {
            busy |= send_answer();
        } else if (streaming_) {
            busy |= send_block();
        }
        return busy;
    }

    const BenchMachine& bench() const { return bench_; }
    BenchMachine& bench() { return bench_; } ///< seam of the energise stages

  private:
    using Kind = wire::MessageKind;

    // ---- safety
    // ------------------------------------------------------------------------------------

    void guard() {
        pass_time();
        if (hw_.stop_pressed()) {
            stop(wire::StopCause::stop_button);
        }
        if (hw_.over_current()) {
            stop(wire::StopCause::over_current);
        }
        const uint32_t limit = hw_.clock_hz() / 1000u * kSilenceLimitMs;
        const uint32_t now = hw_.now();
        if (now - last_heard_ > limit) {
            stop(wire::StopCause::host_silent);
            last_heard_ = now - limit; // stays silent when the tick count wraps
        }
        if (bench_.supply_on()) {
            watch_readings();
        }
        follow_stage();
        hw_.set_relays(bench_.relays());
    }

    void pass_time() {
        const uint32_t per_ms = hw_.clock_hz() / 1000u;
        uint32_t ms = (hw_.now() - last_ms_) / per_ms;
        last_ms_ += ms * per_ms;
        while (ms != 0) {
            const uint16_t part = ms > 1000 ? uint16_t{1000} : static_cast<uint16_t>(ms);
            bench_.pass_ms(part);
            since_span_ms_ = static_cast<uint16_t>(since_span_ms_ + part);
            for (uint16_t& quiet : quiet_ms_) {
                quiet = static_cast<uint16_t>(quiet > 60000 ? quiet : quiet + part);
            }
            ms -= part;
        }
    }

    /// Supply off, and the newest samples kept for who asks why.
    void stop(wire::StopCause cause) {
        const bool was_on = bench_.supply_on();
        bench_.stop(cause);
        if (was_on) {
            hw_.set_relays(bench_.relays());
            trip_time_ = hw_.now();
            freeze();
        }
    }

    void freeze() {
        if (capturing_ || watching_) {
            hw_.stop_capture();
        }
        capturing_ = watching_ = false;
    }

    void watch_readings() {
        Guard& guard = hw_.guard();
        if (guard.cause() != wire::StopCause::none) { // the conversion handler has tripped
            stop(guard.cause());
            return;
        }
        const wire::GuardLimits& limits = guard.limits();
        if (bench_.state() == wire::BenchState::starting && bench_.age_ms() > limits.start_ms) {
            stop(wire::StopCause::rail_not_up);
            return;
        }
        if (guard.stage() != Guard::Stage::kSettled) {
            return;
        }
        if (since_span_ms_ >= Guard::kSpanMs) {
            since_span_ms_ = 0;
            wire::StopCause lost = wire::StopCause::none;
            hw_.locked([&] { lost = guard.end_span(); });
            if (lost != wire::StopCause::none) {
                stop(lost);
                return;
            }
        }
        watch_retrace(false, limits);
        watch_retrace(true, limits);
    }

    void watch_retrace(bool line, const wire::GuardLimits& limits) {
        const uint8_t at = line ? 1 : 0;
        if ((limits.watch & (1u << at)) == 0 || !hw_.retrace_counted(line)) {
            quiet_ms_[at] = 0;
            return;
        }
        const uint32_t edges = hw_.retrace_edges(line);
        if (edges != edges_seen_[at]) {
            edges_seen_[at] = edges;
            quiet_ms_[at] = 0;
        } else if (quiet_ms_[at] > limits.retrace_ms && bench_.supply_on()) {
            stop(line ? wire::StopCause::line_retrace_missing
                      : wire::StopCause::field_retrace_missing);
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
        if (watching_ && (!bench_.supply_on() || keeping_ != drained_)) {
            freeze();
        }
        if (bench_.supply_on() && !capturing_ && !watching_) {
            // Blocks the host has not fetched yet must stay.
            if (drained_) {
                hw_.pool().reset();
            }
            hw_.start_watch(drained_);
            keeping_ = drained_;
            watching_ = true;
        }
    }

    // ---- receiving
    // ---------------------------------------------------------------------------------

    bool take_bytes() {
        if (answer_due_) {
            return false; // the answer before must be in a buffer before the next is made
        }
        uint8_t byte = 0;
        for (uint8_t n = 0; n < 32; ++n) { // a few at a time: blocks must flow as well
            if (!hw_.receive(byte)) {
                return n != 0;
            }
            const wire::DecodeEvent event = decoder_.push(byte);
            if (event == wire::DecodeEvent::kBadFrame) {
                ++frames_bad_;
            } else if (event == wire::DecodeEvent::kFrame) {
                handle(decoder_.frame());
                return true;
            }
        }
        return true;
    }

    void handle(const wire::Frame& frame) {
        last_heard_ = hw_.now();
        streaming_ = false; // a new request means the host no longer waits for the old one's blocks
        if (frame.kind == Kind::identify) {
            answered_ = false;
        } else if (answered_ && frame.kind == last_kind_ && frame.number == last_number_) {
            answer_due_ = true; // the answer was lost: say it again, do nothing twice
            return;
        }
        last_kind_ = frame.kind;
        last_number_ = frame.number;
        answered_ = false;
        dispatch(frame);
        answered_ = answer_due_ && frame.kind != Kind::identify;
    }

    void dispatch(const wire::Frame& frame) {
        switch (frame.kind) {
        case Kind::identify: {
            wire::IdentifyRequest request;
            if (read(frame, request)) {
                request.protocol == wire::kProtocolVersion
                    ? answer(identity())
                    : refuse(wire::RefusalReason::version, wire::kProtocolVersion);
            }
            break;
        }
        case Kind::status:
            if (read_empty(frame)) {
                answer(status());
            }
            break;
        case Kind::set_sync: {
            wire::SyncSettings request;
            if (read(frame, request)) {
                set_sync(request);
            }
            break;
        }
        case Kind::sync_output: {
            wire::SyncOutput request;
            if (read(frame, request)) {
                if (request.enabled > 1) {
                    refuse(wire::RefusalReason::bad_value, 0);
                } else {
                    hw_.set_output(request.enabled != 0);
                    answer(request);
                }
            }
            break;
        }
        case Kind::set_video: {
            wire::VideoSettings request;
            if (read(frame, request)) {
                if (request.pattern > static_cast<uint8_t>(wire::VideoPattern::kGrid)) {
                    refuse(wire::RefusalReason::bad_value, 0);
                } else {
                    hw_.set_video(static_cast<wire::VideoPattern>(request.pattern));
                    answer(request);
                }
            }
            break;
        }
        case Kind::start_capture: {
            wire::CaptureSettings request;
            if (read(frame, request)) {
                start_capture(request);
            }
            break;
        }
        case Kind::stop_capture:
            if (read_empty(frame)) {
                stop_capture();
            }
            break;
        case Kind::read_blocks: {
            wire::ReadBlocksRequest request;
            if (read(frame, request)) {
                read_blocks(request);
            }
            break;
        }
        case Kind::power_off:
            bench_.power_off(); // whatever the payload: off is always obeyed
            hw_.set_relays(bench_.relays());
            answer(power());
            break;
        case Kind::power_on:
            if (read_empty(frame)) {
                power_on();
            }
            break;
        case Kind::power:
            if (read_empty(frame)) {
                answer(power());
            }
            break;
        case Kind::set_guard: {
            wire::GuardLimits request;
            if (read(frame, request)) {
                set_guard(request);
            }
            break;
        }
        case Kind::echo:
            echo(frame);
            break;
        default:
            refuse(wire::RefusalReason::unknown_request, 0);
        }
    }

    // ---- the requests
    // --------------------------------------------------------------------------------

    wire::IdentifyAnswer identity() {
        wire::IdentifyAnswer i;
        i.firmware_major = kVersionMajor;
        i.firmware_minor = kVersionMinor;
        i.firmware_patch = kVersionPatch;
        i.bench_serial = hw_.bench_serial();
        i.clock_hz = hw_.clock_hz();
        i.channels = kChannelCount;
        i.pool_blocks = kPoolBlocks;
        i.max_schedule = wire::kMaxSchedule;
        i.min_line_rate_mhz = sync::kMinLineRateMhz;
        i.max_line_rate_mhz = sync::kMaxLineRateMhz;
        i.silence_limit_ms = kSilenceLimitMs;
        i.reset_cause = static_cast<uint8_t>(hw_.reset_cause());
        return i;
    }

    wire::StatusAnswer status() {
        wire::StatusAnswer s;
        hw_.read_counters(s);
        s.state = static_cast<uint8_t>(bench_.state());
        s.cause = static_cast<uint8_t>(bench_.cause());
        s.flags = static_cast<uint8_t>((hw_.output() ? wire::kStatusSyncOn : 0) |
                                       (capturing_ ? wire::kStatusCapturing : 0));
        s.time = hw_.now();
        s.frames_bad = frames_bad_;
        return s;
    }

    void set_sync(const wire::SyncSettings& request) {
        const sync::PlanResult plan = sync::make_plan(request, hw_.clock_hz());
        if (!plan.ok) {
            refuse(wire::RefusalReason::bad_value, plan.bad_field);
            return;
        }
        hw_.set_sync(plan.achieved);
        answer(plan.achieved);
    }

    void start_capture(const wire::CaptureSettings& request) {
        const uint16_t line = static_cast<uint16_t>(2 * hw_.sync_plan().half_line_ticks);
        const uint8_t bad = check_capture(request, line);
        if (bad != kAllGood) {
            refuse(wire::RefusalReason::bad_value, bad);
            return;
        }
        if (bench_.supply_on() && !watches_enough(request)) {
            refuse(wire::RefusalReason::not_ready,
                   static_cast<uint32_t>(wire::StopCause::not_watched));
            return;
        }
        freeze();
        hw_.pool().reset();
        wire::CaptureStarted started;
        started.time = hw_.now();
        started.aperture_ticks = aperture_ticks(request.adc_prescale_log2);
        started.conversion_ticks = conversion_ticks(request.adc_prescale_log2);
        hw_.start_capture(request);
        capturing_ = true;
        drained_ = true;
        answer(started);
    }

    /// Every channel with a limit comes often enough for a trip within a millisecond.
    bool watches_enough(const wire::CaptureSettings& request) {
        const wire::GuardLimits& limits = hw_.guard().limits();
        const uint8_t lines_each = request.adc_prescale_log2 > kOneLinePrescale ? 2 : 1;
        if (request.entries * lines_each > kGuardLines) {
            return false;
        }
        uint8_t seen = 0;
        for (uint8_t i = 0; i < request.entries; ++i) {
            seen = static_cast<uint8_t>(
                seen | (1u << (request.schedule[i].channel & wire::kScheduleChannelMask)));
        }
        for (uint8_t i = 0; i < wire::kGuardChannels; ++i) {
            const bool limited = limits.low[i] != 0 || limits.high[i] != kAdcCodes - 1;
            const bool often = i != static_cast<uint8_t>(ChannelId::v_yoke_a) &&
                               i != static_cast<uint8_t>(ChannelId::h_yoke_a) &&
                               i != static_cast<uint8_t>(ChannelId::heatsink_c) &&
                               i != static_cast<uint8_t>(ChannelId::ref_v);
            if (limited && often && (seen & (1u << i)) == 0) {
                return false;
            }
        }
        return true;
    }

    void stop_capture() {
        if (capturing_) {
            hw_.stop_capture();
            capturing_ = false;
            drained_ = false;
        }
        wire::CaptureStopped stopped;
        stopped.blocks = hw_.pool().next();
        stopped.words_dropped = hw_.pool().dropped();
        answer(stopped);
    }

    void read_blocks(const wire::ReadBlocksRequest& request) {
        auto& pool = hw_.pool();
        pool.free_below(request.free_below);
        drained_ = drained_ || (!capturing_ && request.free_below == pool.next());
        const uint16_t oldest = pool.oldest();
        const bool gone = static_cast<int16_t>(static_cast<uint16_t>(request.first - oldest)) < 0;
        stream_from_ = gone ? oldest : request.first;
        stream_sent_ = 0;
        // What the guard keeps while the supply is on is read once it stands still: after a trip.
        stream_limit_ = watching_ && keeping_ ? uint8_t{0} : request.count;
        streaming_ = true;
    }

    wire::PowerAnswer power() {
        wire::PowerAnswer p;
        p.state = static_cast<uint8_t>(bench_.state());
        p.cause = static_cast<uint8_t>(bench_.cause());
        p.relays = bench_.relays();
        p.channel = hw_.guard().channel();
        p.code = hw_.guard().code();
        p.trip_time = trip_time_;
        return p;
    }

    void set_guard(const wire::GuardLimits& request) {
        if (bench_.state() != wire::BenchState::idle) {
            refuse(wire::RefusalReason::wrong_state, static_cast<uint32_t>(bench_.state()));
            return;
        }
        const uint8_t bad = Guard::check(request);
        if (bad != kAllGood) {
            refuse(wire::RefusalReason::bad_value, bad);
            return;
        }
        hw_.locked([&] { hw_.guard().set(request); });
        answer(wire::Empty{});
    }

    void power_on() {
        wire::StopCause against = wire::StopCause::none;
        switch (bench_.state()) {
        case wire::BenchState::idle:
            against = check();
            break;
        case wire::BenchState::checked:
            against = start();
            break;
        case wire::BenchState::starting:
            against = bypass();
            break;
        default:
            refuse(wire::RefusalReason::wrong_state, static_cast<uint32_t>(bench_.state()));
            return;
        }
        if (against != wire::StopCause::none) {
            refuse(wire::RefusalReason::not_ready, static_cast<uint32_t>(against));
            return;
        }
        follow_stage();
        hw_.set_relays(bench_.relays());
        answer(power());
    }

    wire::StopCause unsafe() {
        return hw_.stop_pressed()   ? wire::StopCause::stop_button
               : hw_.over_current() ? wire::StopCause::over_current
                                    : wire::StopCause::none;
    }

    /// What stands against leaving idle; the bench's own reference and an empty rail are looked at
    /// here, whatever the host believes.
    wire::StopCause check() {
        const Guard& guard = hw_.guard();
        if (!guard.armed()) {
            return wire::StopCause::no_limits;
        }
        const wire::StopCause danger = unsafe();
        if (danger != wire::StopCause::none) {
            return danger;
        }
        freeze(); // readings by hand need the converter
        const wire::GuardLimits& limits = guard.limits();
        const uint16_t reference = hw_.convert(static_cast<uint8_t>(ChannelId::ref_v));
        if (Guard::outside(reference, limits.reference_low, limits.reference_high)) {
            return wire::StopCause::reference;
        }
        if (hw_.convert(static_cast<uint8_t>(ChannelId::supply_v)) >= limits.rail_off) {
            return wire::StopCause::rail_on;
        }
        const uint8_t loads =
            static_cast<uint8_t>(((limits.loads & 1) != 0 ? kRelayVertical : 0) |
                                 ((limits.loads & 2) != 0 ? kRelayHorizontal : 0));
        return bench_.check(loads) ? wire::StopCause::none : wire::StopCause::relays_settling;
    }

    wire::StopCause start() {
        const wire::StopCause danger = unsafe();
        if (danger != wire::StopCause::none) {
            return danger;
        }
        if (!bench_.start()) {
            return wire::StopCause::relays_settling;
        }
        hw_.locked([&] { hw_.guard().forget_trip(); });
        freeze(); // a capture that leaves guarded channels out may not go on
        return wire::StopCause::none;
    }

    wire::StopCause bypass() {
        uint16_t rail = 0;
        hw_.locked([&] {
            rail = hw_.guard().path.reading[static_cast<uint8_t>(ChannelId::supply_v)].last;
        });
        if (rail < hw_.guard().limits().rail_up) {
            return wire::StopCause::rail_not_up;
        }
        return bench_.bypass() ? wire::StopCause::none : wire::StopCause::relays_settling;
    }

    void echo(const wire::Frame& frame) {
        if (frame.size > wire::kEchoBytes) {
            refuse(wire::RefusalReason::bad_size, static_cast<uint32_t>(frame.size));
            return;
        }
        for (size_t i = 0; i < frame.size; ++i) {
            answer_[i] = frame.payload[i];
        }
        finish_answer(wire::answer_to(frame.kind), static_cast<uint8_t>(frame.size));
    }

    // ---- answering
    // -----------------------------------------------------------------------------------

    template <class Message> bool read(const wire::Frame& frame, Message& message) {
        if (wire::read_fields(message, frame.payload, frame.size)) {
            return true;
        }
        refuse(wire::RefusalReason::bad_size, static_cast<uint32_t>(frame.size));
        return false;
    }

    bool read_empty(const wire::Frame& frame) {
        wire::Empty empty;
        return read(frame, empty);
    }

    template <class Message> void answer(const Message& message) {
        const size_t size = wire::write_fields(message, answer_, sizeof(answer_));
        finish_answer(wire::answer_to(last_kind_), static_cast<uint8_t>(size));
    }

    void refuse(wire::RefusalReason reason, uint32_t detail) {
        wire::RefusedAnswer refused;
        refused.request = static_cast<uint8_t>(last_kind_);
        refused.reason = static_cast<uint8_t>(reason);
        refused.detail = detail;
        const size_t size = wire::write_fields(refused, answer_, sizeof(answer_));
        finish_answer(Kind::refused, static_cast<uint8_t>(size));
    }

    void finish_answer(Kind kind, uint8_t size) {
        answer_kind_ = kind;
        answer_size_ = size;
        answer_due_ = true;
    }

    bool send_answer() {
        uint8_t* out = hw_.transmit_buffer();
        if (out == nullptr) {
            return false;
        }
        FrameWriter<typename Hardware::Crc> writer(out, answer_kind_, last_number_);
        writer.put(answer_, answer_size_);
        hw_.transmit(writer.finish());
        answer_due_ = false;
        return true;
    }

    bool send_block() {
        const uint16_t number = static_cast<uint16_t>(stream_from_ + stream_sent_);
        const Block* block = stream_sent_ < stream_limit_ ? hw_.pool().find(number) : nullptr;
        if (block == nullptr) {
            wire::ReadBlocksAnswer done;
            done.sent_from = stream_from_;
            done.sent = stream_sent_;
            done.oldest = hw_.pool().oldest();
            done.next = hw_.pool().next();
            done.capturing = capturing_ ? 1 : 0;
            done.words_dropped = hw_.pool().dropped();
            streaming_ = false;
            answer(done);
            answered_ = true;
            return true;
        }
        uint8_t* out = hw_.transmit_buffer();
        if (out == nullptr) {
            return false;
        }
        FrameWriter<typename Hardware::Crc> writer(out, Kind::block, last_number_);
        wire::BlockHead head;
        head.sequence = number;
        head.kind = block->kind;
        head.flags = block->flags;
        head.count = block->count;
        head.base_time = block->base_time;
        uint8_t bytes[wire::wire_size<wire::BlockHead>()];
        wire::write_fields(head, bytes, sizeof(bytes));
        writer.put(bytes, sizeof(bytes));
        const uint8_t word = bytes_per_word(static_cast<wire::BlockKind>(block->kind));
        writer.put(block->data, static_cast<uint8_t>(block->count * word));
        hw_.transmit(writer.finish());
        ++stream_sent_;
        return true;
    }

    Hardware& hw_;
    BenchMachine bench_;
    wire::FrameDecoder<> decoder_;
    uint32_t last_heard_ = 0;
    uint16_t frames_bad_ = 0;

    Kind last_kind_ = Kind::identify;
    uint8_t last_number_ = 0;
    bool answered_ = false;   ///< the answer kept is the one to last_kind_ and last_number_
    bool answer_due_ = false; ///< the answer kept waits for a transmit buffer
    Kind answer_kind_ = Kind::refused;
    uint8_t answer_size_ = 0;
    uint8_t answer_[wire::kEchoBytes] = {};

    bool capturing_ = false; ///< for the host
    bool watching_ = false;  ///< for the guard alone
    bool keeping_ = false;   ///< that keeps its samples
    bool drained_ = true;    ///< nothing in the pool that the host still wants
    uint32_t last_ms_ = 0;
    uint32_t trip_time_ = 0;
    uint16_t since_span_ms_ = 0;
    uint16_t quiet_ms_[2] = {}; ///< since the last edge of field and line retrace
    uint32_t edges_seen_[2] = {};
    bool streaming_ = false;
    uint16_t stream_from_ = 0;
    uint8_t stream_sent_ = 0;
    uint8_t stream_limit_ = 0;
};

} // namespace firmware
} // namespace yokedock
