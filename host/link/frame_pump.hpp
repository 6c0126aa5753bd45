// SPDX-License-Identifier: MIT
#pragma once
#include "host/link/transport.hpp"
#include "shared/wire/frame.hpp"
#include <array>
#include <optional>

namespace yokedock::link {

/// Bytes of a transport to frames and back. Owns neither.
class FramePump {
  public:
    explicit FramePump(Transport& transport) : transport_(transport) {}

    enum class Event {
        kFrame,    ///< frame() is valid until the next call
        kBadFrame, ///< something came that was no whole frame; counted
        kTimeout,
    };

    /// The next event, waiting at most timeout. kLink when the transport is gone.
    [[nodiscard]] Result<Event> next(Milliseconds timeout);
    [[nodiscard]] const wire::Frame& frame() const { return decoder_.frame(); }

    /// Sends one frame. payload.size() <= wire::kMaxPayloadBytes.
    [[nodiscard]] Status send(wire::MessageKind kind, std::uint8_t number, Bytes payload,
                              Milliseconds timeout);

    [[nodiscard]] std::uint64_t frames_in() const { return frames_in_; }
    [[nodiscard]] std::uint64_t frames_bad() const { return frames_bad_; }

  private:
    std::optional<Event> take_buffered();

    Transport& transport_;
    wire::FrameDecoder<> decoder_;
    std::array<std::uint8_t, 4096> buffer_{};
    std::size_t begin_ = 0; ///< bytes of buffer_ not yet decoded: [begin_, end_)
    std::size_t end_ = 0;
    std::uint64_t frames_in_ = 0;
    std::uint64_t frames_bad_ = 0;
};

} // namespace yokedock::link
