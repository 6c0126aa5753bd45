// SPDX-License-Identifier: MIT
// Requests to a bench and their answers, over a link that may lose or bend frames.
//
// Rules of timing and retry:
//  * One request at a time; each new one carries the next number (8 bits, wrapping).
//  * No whole answer within `answer`: the same frame goes out again with the same number, so that
//  the device
//    repeats its stored answer and does no work twice. After `attempts` sendings the link counts as
//    lost: attempts * answer = 2.4 s at most from the last sign of life to Error{kLink}.
//  * A bad frame while waiting may have been the answer: the wait then shrinks to `after_bad`.
//  * Each block of read_blocks is a sign of life and starts the wait anew.
//  * Frames with another number are answers to requests already repeated (stale): counted, ignored.
//  * A transport that reports an error (closed, unplugged) ends the request at once.
//  * A lost link stays lost: later requests fail at once with the same error. Only a request marked
//    kEvenWhenStopped (power off) is sent once more all the same.
//  * The stop token ends a wait within `slice` with Error{kStopped}, save kEvenWhenStopped.
#pragma once
#include "host/link/frame_pump.hpp"
#include "host/link/refusal.hpp"
#include "host/link/stop.hpp"
#include "host/link/word_bytes.hpp"
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <vector>

namespace yokedock::link {

struct RequesterTiming {
    Milliseconds answer{400};
    int attempts = 6;
    int identify_attempts =
        12; ///< opening a serial port resets many boards: 4.8 s for their boot loader
    Milliseconds after_bad{100};
    Milliseconds write{1000};
    Milliseconds slice{50};
};

struct LinkCounters {
    std::uint64_t requests = 0;
    std::uint64_t repeats = 0; ///< sendings after the first
    std::uint64_t frames_in = 0;
    std::uint64_t frames_bad = 0;
    std::uint64_t frames_stale = 0;
};

enum class When { kUnlessStopped, kEvenWhenStopped };

/// Gets each block of a read_blocks request: its head, and its words' bytes, which have the size
/// the head says.
using BlockSink = std::function<void(const wire::BlockHead&, Bytes)>;

/// All members may be called from several threads; they take turns.
class Requester {
  public:
    explicit Requester(std::unique_ptr<Transport> transport, StopToken stop = {},
                       RequesterTiming timing = {});

    /// First exchange of a session. Discards what the link held; refuses a bench of another
    /// protocol version.
    [[nodiscard]] Result<wire::IdentifyAnswer> identify();

    /// One request of the table: ask<wire::requests::status>({}). Errors: kLink, kRefused,
    /// kStopped.
    template <class Row>
    [[nodiscard]] Result<typename Row::Answer> ask(const typename Row::Request& request,
                                                   When when = When::kUnlessStopped,
                                                   const BlockSink& blocks = {}) {
        std::uint8_t payload[wire::kMaxPayloadBytes];
        const std::size_t size = wire::write_fields(request, payload, sizeof(payload));
        const Result<std::vector<std::uint8_t>> answer = exchange(
            Row::kind, Bytes(payload, size),
            [&](std::uint32_t index) { return find_field(request, index); }, when, blocks);
        if (!answer) {
            return answer.error();
        }
        typename Row::Answer fields{};
        if (!wire::read_fields(fields, answer.value().data(), answer.value().size())) {
            return wrong_size(Row::kind, answer.value().size(),
                              wire::wire_size<typename Row::Answer>());
        }
        return fields;
    }

    /// Sends up to wire::kEchoBytes and returns what came back.
    [[nodiscard]] Result<std::vector<std::uint8_t>> echo(Bytes payload);

    /// What the device answered to the newest request, where that was a refusal.
    [[nodiscard]] std::optional<wire::RefusedAnswer> refused() const;

    [[nodiscard]] LinkCounters counters() const;
    /// Time since the last frame of the device was received, on the transport's clock.
    [[nodiscard]] Clock::duration since_last_frame() const;
    [[nodiscard]] const StopToken& stop() const { return stop_; }
    [[nodiscard]] std::string transport_kind() const { return transport_->kind(); }
    [[nodiscard]] Clock::time_point now() const { return transport_->now(); }

    /// Waits, in slices of the timing, until the duration has passed or the token stops.
    [[nodiscard]] Status pause(Milliseconds duration);

  private:
    using FieldNamer = std::function<FieldText(std::uint32_t index)>;
    struct Attempt;

    Result<std::vector<std::uint8_t>> exchange(wire::MessageKind kind, Bytes payload,
                                               const FieldNamer& namer, When when,
                                               const BlockSink& blocks);
    Result<std::vector<std::uint8_t>> run_attempts(Attempt attempt, int attempts);
    Result<bool> await_answer(const Attempt& attempt, std::vector<std::uint8_t>& answer);
    Result<bool> take_frame(const Attempt& attempt, std::vector<std::uint8_t>& answer, bool& alive);
    static Error wrong_size(wire::MessageKind kind, std::size_t received, std::size_t expected);

    mutable std::mutex mutex_;
    std::unique_ptr<Transport> transport_;
    FramePump pump_;
    StopToken stop_;
    RequesterTiming timing_;
    LinkCounters counters_;
    std::uint8_t number_ = 0;
    Clock::time_point last_frame_;
    std::optional<Error> lost_;
    std::optional<wire::RefusedAnswer> refused_;
};

} // namespace yokedock::link
