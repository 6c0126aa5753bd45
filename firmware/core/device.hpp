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
//   pool();                                    a BlockPool void supply_off(); every relay off bool
//   stop_pressed();  bool over_current();
#pragma once
#include "firmware/core/bench_state.hpp"
#include "firmware/core/block_pool.hpp"
#include "firmware/core/frame_writer.hpp"
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
        hw_.supply_off();
        bench_ = BenchMachine(hw_.reset_cause());
        last_heard_ = hw_.now();
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
        if (hw_.stop_pressed()) {
            bench_.stop(wire::StopCause::stop_button);
        }
        if (hw_.over_current()) {
            bench_.stop(wire::StopCause::over_current);
        }
        const uint32_t limit = hw_.clock_hz() / 1000u * kSilenceLimitMs;
        const uint32_t now = hw_.now();
        if (now - last_heard_ > limit) {
            bench_.stop(wire::StopCause::host_silent);
            last_heard_ = now - limit; // stays silent when the tick count wraps
        }
        if (!bench_.supply_on()) {
            hw_.supply_off();
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
            hw_.supply_off();
            answer(power());
            break;
        case Kind::power_on:
            if (read_empty(frame)) {
                refuse(wire::RefusalReason::not_fitted, 0);
            }
            break;
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
        if (capturing_) {
            hw_.stop_capture();
        }
        hw_.pool().reset();
        wire::CaptureStarted started;
        started.time = hw_.now();
        started.aperture_ticks = aperture_ticks(request.adc_prescale_log2);
        started.conversion_ticks = conversion_ticks(request.adc_prescale_log2);
        hw_.start_capture(request);
        capturing_ = true;
        answer(started);
    }

    void stop_capture() {
        if (capturing_) {
            hw_.stop_capture();
            capturing_ = false;
        }
        wire::CaptureStopped stopped;
        stopped.blocks = hw_.pool().next();
        stopped.words_dropped = hw_.pool().dropped();
        answer(stopped);
    }

    void read_blocks(const wire::ReadBlocksRequest& request) {
        auto& pool = hw_.pool();
        pool.free_below(request.free_below);
        const uint16_t oldest = pool.oldest();
        const bool gone = static_cast<int16_t>(static_cast<uint16_t>(request.first - oldest)) < 0;
        stream_from_ = gone ? oldest : request.first;
        stream_sent_ = 0;
        stream_limit_ = request.count;
        streaming_ = true;
    }

    wire::PowerAnswer power() const {
        wire::PowerAnswer p;
        p.state = static_cast<uint8_t>(bench_.state());
        p.cause = static_cast<uint8_t>(bench_.cause());
        return p;
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

    bool capturing_ = false;
    bool streaming_ = false;
    uint16_t stream_from_ = 0;
    uint8_t stream_sent_ = 0;
    uint8_t stream_limit_ = 0;
};

} // namespace firmware
} // namespace yokedock
