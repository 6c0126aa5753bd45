// SPDX-License-Identifier: MIT
// The bench as the host sees it: takes received bytes, does what the requests ask, sends answers
// and blocks. Runs in the main loop; never waits. Everything below is reached through Hardware, a
// template argument: firmware/ports/avr/hardware.hpp on the device,
// firmware/ports/host/fake_hardware.hpp in host tests. Power, guard and load step are in
// power_control.hpp.
//
// Hardware provides
//   using Crc;                         CRC step for FrameWriter
//   bool receive(uint8_t& byte);       next received byte, if any
//   uint8_t* transmit_buffer();        kMaxEncodedBytes to fill; nullptr: all are on their way
//   void transmit(uint8_t size);       sends what was written there
//   uint32_t now();                    device time, ticks
//   uint32_t clock_hz();               ticks per second, nominal
//   uint32_t stored_serial();          serial number of this bench; 0: none was given
//   wire::ResetCause reset_cause();
//   const wire::SyncAchieved& sync_plan();        in force or pending, whichever is newer
//   void set_sync(const wire::SyncAchieved&);     from the next field on; at once while off
//   void set_output(bool on);  bool output();     sync pins, from the next field on
//   void set_video(wire::VideoPattern);
//   void start_capture(const wire::CaptureSettings&);   from the next field on where a sync change
//                                      is pending; until then readings go to the guard alone
//   void stop_capture();               stops, and seals the open blocks
//   const wire::CaptureSettings& capture_settings();    those started last
//   void start_watch(const wire::CaptureSettings&, bool keep);   sampling at once, for the guard;
//                                      keep: where no block is free the oldest is taken
//   void read_counters(wire::StatusAnswer&);      the counters of the status answer
//   auto& pool();                      a BlockPool
//   Guard& guard();                    the conversion handler feeds it; it opens K1 and K2 itself
//                                      when a reading trips
//   void locked(F);                    runs F with the conversion handler held off
//   uint16_t convert(uint8_t channel);            one reading by hand; no capture may run
//   uint32_t retrace_edges(bool line);            changes with every edge or more that came
//   void set_relays(uint8_t);          K1 to K5, bits as in bench_state.hpp; K1 and K2 stay open
//                                      after a trip that hardware has seen
//   bool stop_pressed();  bool over_current();    now, or since rearm_protection(); each has
//                                      opened K1 and K2 by itself
//   void rearm_protection();
// and what step_drive.hpp and calibration_store.hpp ask for.
#pragma once
#include "firmware/core/block_pool.hpp"
#include "firmware/core/calibration_store.hpp"
#include "firmware/core/frame_writer.hpp"
#include "firmware/core/limits.hpp"
#include "firmware/core/power_control.hpp"
#include "firmware/core/requests.hpp"
#include "firmware/core/sampler.hpp"

namespace yokedock {
namespace firmware {

template <class Hardware> class Device {
  public:
    explicit Device(Hardware& hardware) : hw_(hardware), power_(hardware), store_(hardware) {}

    /// Once, after reset.
    void begin() {
        power_.begin();
        find_serial();
    }

    /// One round of the main loop. True when there may be more to do at once.
    bool poll() {
        power_.poll();
        if (store_.poll()) {
            find_serial();
        }
        bool busy = take_bytes();
        if (answer_due_) {
            busy |= send_answer();
        } else if (streaming_) {
            busy |= send_block();
        }
        return busy;
    }

    const BenchMachine& bench() const { return power_.bench(); }

  private:
    using Kind = wire::MessageKind;

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
        power_.heard();
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
        case Kind::identify:
            return with(frame, &Device::identify);
        case Kind::status:
            return with(frame, &Device::status);
        case Kind::set_sync:
            return with(frame, &Device::set_sync);
        case Kind::sync_output:
            return with(frame, &Device::sync_output);
        case Kind::set_video:
            return with(frame, &Device::set_video);
        case Kind::start_capture:
            return with(frame, &Device::start_capture);
        case Kind::stop_capture:
            return with(frame, &Device::stop_capture);
        case Kind::read_blocks:
            return with(frame, &Device::read_blocks);
        case Kind::power_off:
            return power_off(); // whatever the payload: off is always obeyed
        case Kind::power_on:
            return with(frame, &Device::power_on);
        case Kind::power:
            return with(frame, &Device::power);
        case Kind::set_guard:
            return with(frame, &Device::set_guard);
        case Kind::step_load:
            return with(frame, &Device::step_load);
        case Kind::write_calibration:
            return with(frame, &Device::write_calibration);
        case Kind::read_calibration:
            return with(frame, &Device::read_calibration);
        case Kind::store_state:
            return with(frame, &Device::store_state);
        case Kind::echo:
            return echo(frame);
        default:
            return refuse(wire::RefusalReason::unknown_request, 0);
        }
    }

    /// A frame's request, done; each kind in a function of its own, so that the stack holds no more
    /// than one request.
    template <class Request>
    YOKEDOCK_RARE void with(const wire::Frame& frame, void (Device::*act)(const Request&)) {
        Request request;
        if (wire::read_fields(request, frame.payload, frame.size)) {
            (this->*act)(request);
        } else {
            refuse(wire::RefusalReason::bad_size, static_cast<uint32_t>(frame.size));
        }
    }

    // ---- the requests
    // --------------------------------------------------------------------------------

    void identify(const wire::IdentifyRequest& request) {
        if (request.protocol != wire::kProtocolVersion) {
            refuse(wire::RefusalReason::version, wire::kProtocolVersion);
            return;
        }
        wire::IdentifyAnswer i;
        i.firmware_major = kVersionMajor;
        i.firmware_minor = kVersionMinor;
        i.firmware_patch = kVersionPatch;
        i.bench_serial = serial_;
        i.clock_hz = hw_.clock_hz();
        i.channels = kChannelCount;
        i.pool_blocks = kPoolBlocks;
        i.max_schedule = wire::kMaxSchedule;
        i.min_line_rate_mhz = sync::kMinLineRateMhz;
        i.max_line_rate_mhz = sync::kMaxLineRateMhz;
        i.silence_limit_ms = kSilenceLimitMs;
        i.reset_cause = static_cast<uint8_t>(hw_.reset_cause());
        answer(i);
    }

    void status(const wire::Empty&) {
        wire::StatusAnswer s;
        hw_.read_counters(s);
        power_.look();
        s.state = static_cast<uint8_t>(bench().state());
        s.cause = static_cast<uint8_t>(bench().cause());
        s.flags = static_cast<uint8_t>((hw_.output() ? wire::kStatusSyncOn : 0) |
                                       (power_.capturing() ? wire::kStatusCapturing : 0));
        s.time = hw_.now();
        s.frames_bad = frames_bad_;
        answer(s);
    }

    void set_sync(const wire::SyncSettings& request) {
        const sync::PlanResult plan = sync::make_plan(request, hw_.clock_hz());
        if (!plan.ok) {
            refuse(wire::RefusalReason::bad_value, plan.bad_field);
            return;
        }
        if (!power_.allows_line(static_cast<uint16_t>(2 * plan.achieved.half_line_ticks))) {
            refuse_not_ready(wire::StopCause::not_watched);
            return;
        }
        hw_.set_sync(plan.achieved);
        answer(plan.achieved);
    }

    void sync_output(const wire::SyncOutput& request) {
        if (request.enabled > 1) {
            refuse(wire::RefusalReason::bad_value, 0);
            return;
        }
        hw_.set_output(request.enabled != 0);
        answer(request);
    }

    void set_video(const wire::VideoSettings& request) {
        if (request.pattern > static_cast<uint8_t>(wire::VideoPattern::kGrid)) {
            refuse(wire::RefusalReason::bad_value, 0);
            return;
        }
        hw_.set_video(static_cast<wire::VideoPattern>(request.pattern));
        power_.note_picture(request.pattern != 0);
        answer(request);
    }

    void start_capture(const wire::CaptureSettings& request) {
        const uint16_t line = static_cast<uint16_t>(2 * hw_.sync_plan().half_line_ticks);
        const uint8_t bad = check_capture(request, line);
        if (bad != kAllGood) {
            refuse(wire::RefusalReason::bad_value, bad);
            return;
        }
        if (!told_often_enough(request, line, power_.picture())) {
            refuse(wire::RefusalReason::bad_value, 3);
            return;
        }
        if (!power_.allows(request, line)) {
            refuse_not_ready(wire::StopCause::not_watched);
            return;
        }
        if (storing()) {
            return;
        }
        wire::CaptureStarted started;
        started.time = hw_.now();
        started.aperture_ticks = aperture_ticks(request.adc_prescale_log2);
        started.conversion_ticks = conversion_ticks(request.adc_prescale_log2);
        power_.start_capture(request);
        answer(started);
    }

    void stop_capture(const wire::Empty&) {
        power_.stop_capture();
        wire::CaptureStopped stopped;
        stopped.blocks = hw_.pool().next();
        stopped.words_dropped = hw_.pool().dropped();
        answer(stopped);
    }

    void read_blocks(const wire::ReadBlocksRequest& request) {
        auto& pool = hw_.pool();
        // What the guard keeps while the supply is on is read once it stands still: after a trip.
        const bool readable = power_.free_below(request.free_below);
        const uint16_t oldest = pool.oldest();
        const bool gone = static_cast<int16_t>(static_cast<uint16_t>(request.first - oldest)) < 0;
        stream_from_ = gone ? oldest : request.first;
        stream_sent_ = 0;
        stream_limit_ = readable ? request.count : uint8_t{0};
        streaming_ = true;
    }

    void power_off() {
        power_.power_off();
        answer(power_.answer());
    }

    void power(const wire::Empty&) { answer(power_.answer()); }

    void set_guard(const wire::GuardLimits& request) {
        if (!idle()) {
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

    void power_on(const wire::PowerStage& request) {
        if (request.stage < static_cast<uint8_t>(wire::BenchState::checked) ||
            request.stage > static_cast<uint8_t>(wire::BenchState::live)) {
            refuse(wire::RefusalReason::bad_value, 0);
            return;
        }
        const uint8_t state = static_cast<uint8_t>(bench().state());
        if (request.stage != state + 1) {
            refuse(wire::RefusalReason::wrong_state, state);
            return;
        }
        if (storing()) {
            return;
        }
        const wire::StopCause against =
            power_.power_on(static_cast<wire::BenchState>(request.stage));
        against == wire::StopCause::none ? answer(power_.answer()) : refuse_not_ready(against);
    }

    void step_load(const wire::StepSettings& request) {
        const uint8_t bad = check_step(request, hw_.clock_hz());
        if (bad != kAllGood) {
            refuse(wire::RefusalReason::bad_value, bad);
            return;
        }
        if (!idle() || storing()) {
            return;
        }
        wire::StepStarted started;
        const wire::StopCause against = power_.begin_step(request, started.first_edge);
        against == wire::StopCause::none ? answer(started) : refuse_not_ready(against);
    }

    void write_calibration(const wire::Calibration& request) {
        const uint8_t bad = check_calibration(request, hw_.stored_serial());
        if (bad != kAllGood) {
            refuse(wire::RefusalReason::bad_value, bad);
            return;
        }
        if (!idle() || storing()) {
            return;
        }
        power_.freeze();
        hw_.pool().reset(); // its memory holds the image meanwhile: nothing is captured until then
        store_.begin(request, hw_.pool().scratch());
        answer(wire::StoreAnswer{store_.left()});
    }

    void read_calibration(const wire::Empty&) {
        if (!storing()) {
            answer(store_.read());
        }
    }

    void store_state(const wire::Empty&) { answer(wire::StoreAnswer{store_.left()}); }

    /// Refuses what only an idle bench does.
    bool idle() {
        if (bench().state() == wire::BenchState::idle) {
            return true;
        }
        refuse(wire::RefusalReason::wrong_state, static_cast<uint32_t>(bench().state()));
        return false;
    }

    /// Refuses what must wait for the EEPROM.
    bool storing() {
        if (store_.storing()) {
            refuse(wire::RefusalReason::storing, store_.left());
        }
        return store_.storing();
    }

    void find_serial() {
        serial_ = hw_.stored_serial();
        if (serial_ == 0) {
            serial_ = store_.serial();
        }
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

    template <class Message> void answer(const Message& message) {
        // Not through write_fields(), whose copy of a long message the stack has no room for:
        // visit() is one function for reading and writing, hence not const, but writing changes
        // nothing.
        wire::WriteVisitor writer(answer_, sizeof(answer_));
        const_cast<Message&>(message).visit(writer);
        finish_answer(wire::answer_to(last_kind_), static_cast<uint8_t>(writer.size()));
    }

    void refuse(wire::RefusalReason reason, uint32_t detail) {
        wire::RefusedAnswer refused;
        refused.request = static_cast<uint8_t>(last_kind_);
        refused.reason = static_cast<uint8_t>(reason);
        refused.detail = detail;
        const size_t size = wire::write_fields(refused, answer_, sizeof(answer_));
        finish_answer(Kind::refused, static_cast<uint8_t>(size));
    }

    void refuse_not_ready(wire::StopCause cause) {
        refuse(wire::RefusalReason::not_ready, static_cast<uint32_t>(cause));
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
            done.capturing = power_.capturing() ? 1 : 0;
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
    PowerControl<Hardware> power_;
    CalibrationStore<Hardware> store_;
    wire::FrameDecoder<> decoder_;
    uint32_t serial_ = 0;
    uint16_t frames_bad_ = 0;

    Kind last_kind_ = Kind::identify;
    uint8_t last_number_ = 0;
    bool answered_ = false;   ///< the answer kept is the one to last_kind_ and last_number_
    bool answer_due_ = false; ///< the answer kept waits for a transmit buffer
    Kind answer_kind_ = Kind::refused;
    uint8_t answer_size_ = 0;
    uint8_t answer_[wire::kEchoBytes] = {};
    static_assert(wire::wire_size<wire::CalibrationAnswer>() <= wire::kEchoBytes,
                  "every answer has room");

    bool streaming_ = false;
    uint16_t stream_from_ = 0;
    uint8_t stream_sent_ = 0;
    uint8_t stream_limit_ = 0;
};

} // namespace firmware
} // namespace yokedock
