// SPDX-License-Identifier: MIT
#include "host/link/requester.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::link {

using wire::MessageKind;

namespace {
constexpr int kMaxBlocksPerRequest = 255; ///< read_blocks counts in 8 bits
}

struct Requester::Attempt {
    MessageKind kind;
    std::uint8_t number;
    Bytes payload;
    const FieldNamer& namer;
    When when;
    const BlockSink& blocks;
};

Requester::Requester(std::unique_ptr<Transport> transport, StopToken stop, RequesterTiming timing)
    : transport_(std::move(transport)), pump_(*transport_), stop_(stop), timing_(timing),
      last_frame_(transport_->now()) {}

Error Requester::wrong_size(MessageKind kind, std::size_t received, std::size_t expected) {
    return {ErrorKind::kLink,
            fmt::format(
                "the bench's answer to {} makes no sense: it has {} bytes; expected {}; flash the "
                "firmware that belongs to this yokedock",
                message_name(kind), received, expected)};
}

Result<std::vector<std::uint8_t>> Requester::exchange(MessageKind kind, Bytes payload,
                                                      const FieldNamer& namer, When when,
                                                      const BlockSink& blocks) {
    const std::lock_guard lock(mutex_);
    const bool always = when == When::kEvenWhenStopped;
    if (lost_ && !always) {
        return *lost_;
    }
    int attempts = kind == MessageKind::identify ? timing_.identify_attempts : timing_.attempts;
    if (lost_) {
        attempts = 1;
    }
    ++counters_.requests;
    ++number_;
    refused_.reset();
    auto answer = run_attempts({kind, number_, payload, namer, when, blocks}, attempts);
    if (!answer && answer.error().kind == ErrorKind::kLink) {
        lost_ = answer.error();
    }
    return answer;
}

Result<std::vector<std::uint8_t>> Requester::run_attempts(Attempt attempt, int attempts) {
    std::vector<std::uint8_t> answer;
    for (int sending = 0; sending < attempts; ++sending) {
        counters_.repeats += sending > 0 ? 1 : 0;
        if (sending > 0 && attempt.kind == MessageKind::read_blocks) {
            attempt.number = ++number_;
        }
        const Status sent =
            pump_.send(attempt.kind, attempt.number, attempt.payload, timing_.write);
        if (!sent) {
            return sent.error();
        }
        const Result<bool> done = await_answer(attempt, answer);
        if (!done) {
            return done.error();
        }
        if (done.value()) {
            return answer;
        }
    }
    return Error{
        ErrorKind::kLink,
        fmt::format(
            "no answer from the bench to {}: sent {} times, waited {} ms each; expected one "
            "answer; check cable, power and that the address is a yokedock bench",
            message_name(attempt.kind), attempts, timing_.answer.count())};
}

/// One sending's wait. True: answer holds the payload. False: time is up.
Result<bool> Requester::await_answer(const Attempt& attempt, std::vector<std::uint8_t>& answer) {
    Clock::time_point deadline = transport_->now() + timing_.answer;
    int extensions = 0;
    for (;;) {
        if (attempt.when == When::kUnlessStopped && stop_.stopped()) {
            return Error{ErrorKind::kStopped,
                         fmt::format("stopped by the user while waiting for the answer to {}",
                                     message_name(attempt.kind))};
        }
        const auto left = std::chrono::ceil<Milliseconds>(deadline - transport_->now());
        if (left.count() <= 0) {
            return false;
        }
        const auto event = pump_.next(std::min(left, timing_.slice));
        if (!event) {
            return event.error();
        }
        bool alive = false;
        if (event.value() == FramePump::Event::kBadFrame) {
            deadline = std::min(deadline, transport_->now() + timing_.after_bad);
        } else if (event.value() == FramePump::Event::kFrame) {
            last_frame_ = transport_->now();
            const Result<bool> done = take_frame(attempt, answer, alive);
            if (!done || done.value()) {
                return done;
            }
        }
        if (alive && extensions++ < kMaxBlocksPerRequest) {
            deadline = transport_->now() + timing_.answer;
        }
    }
}

Result<bool> Requester::take_frame(const Attempt& attempt, std::vector<std::uint8_t>& answer,
                                   bool& alive) {
    const wire::Frame& frame = pump_.frame();
    if (frame.number != attempt.number) {
        ++counters_.frames_stale;
        return false;
    }
    if (frame.kind == wire::answer_to(attempt.kind)) {
        answer.assign(frame.payload, frame.payload + frame.size);
        return true;
    }
    if (frame.kind == MessageKind::refused) {
        wire::RefusedAnswer refused{};
        if (!wire::read_fields(refused, frame.payload, frame.size)) {
            return wrong_size(attempt.kind, frame.size, wire::wire_size<wire::RefusedAnswer>());
        }
        if (refused.request == static_cast<std::uint8_t>(attempt.kind)) {
            const bool names_field =
                refused.reason == static_cast<std::uint8_t>(wire::RefusalReason::bad_value);
            refused_ = refused;
            return refusal_error(refused,
                                 names_field ? attempt.namer(refused.detail) : FieldText{});
        }
    }
    if (frame.kind == MessageKind::block && attempt.kind == MessageKind::read_blocks) {
        wire::ReadVisitor reader(frame.payload, frame.size);
        wire::BlockHead head{};
        head.visit(reader);
        const std::size_t size = head.count * word_bytes(head.kind);
        if (reader.ok() && size != 0 && reader.left() == size) {
            alive = true;
            if (attempt.blocks) {
                attempt.blocks(head, Bytes(reader.rest(), size));
            }
            return false;
        }
    }
    ++counters_.frames_stale; // a whole frame that answers nothing asked
    return false;
}

Result<wire::IdentifyAnswer> Requester::identify() {
    wire::IdentifyRequest request{};
    std::uint8_t payload[wire::wire_size<wire::IdentifyRequest>()];
    const std::size_t size = wire::write_fields(request, payload, sizeof(payload));
    const auto bytes = exchange(MessageKind::identify, Bytes(payload, size),
                                [&](std::uint32_t index) { return find_field(request, index); },
                                When::kUnlessStopped, {});
    if (!bytes) {
        return bytes.error();
    }
    // The version stands first in every version's answer, whatever follows it.
    wire::ReadVisitor reader(bytes.value().data(), bytes.value().size());
    std::uint16_t version = 0;
    reader.field("protocol", "", version);
    if (reader.ok() && version != wire::kProtocolVersion) {
        return version_error(version);
    }
    wire::IdentifyAnswer answer{};
    if (!wire::read_fields(answer, bytes.value().data(), bytes.value().size())) {
        return wrong_size(MessageKind::identify, bytes.value().size(),
                          wire::wire_size<wire::IdentifyAnswer>());
    }
    return answer;
}

Result<std::vector<std::uint8_t>> Requester::echo(Bytes payload) {
    assert(payload.size() <= wire::kEchoBytes);
    return exchange(MessageKind::echo, payload, [](std::uint32_t) { return FieldText{}; },
                    When::kUnlessStopped, {});
}

std::optional<wire::RefusedAnswer> Requester::refused() const {
    const std::lock_guard lock(mutex_);
    return refused_;
}

LinkCounters Requester::counters() const {
    const std::lock_guard lock(mutex_);
    LinkCounters all = counters_;
    all.frames_in = pump_.frames_in();
    all.frames_bad = pump_.frames_bad();
    return all;
}

Clock::duration Requester::since_last_frame() const {
    const std::lock_guard lock(mutex_);
    return transport_->now() - last_frame_;
}

Status Requester::pause(Milliseconds duration) {
    const Clock::time_point end = transport_->now() + duration;
    while (!stop_.stopped()) {
        const auto left = std::chrono::ceil<Milliseconds>(end - transport_->now());
        if (left.count() <= 0) {
            return Done{};
        }
        transport_->wait(std::min(left, timing_.slice));
    }
    return Error{ErrorKind::kStopped, "stopped by the user"};
}

} // namespace yokedock::link
