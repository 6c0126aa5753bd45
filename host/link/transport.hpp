// SPDX-License-Identifier: MIT
#pragma once
#include "host/result.hpp"
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <thread>

namespace yokedock::link {

using Clock = std::chrono::steady_clock;
using Milliseconds = std::chrono::milliseconds;
using Bytes = std::span<const std::uint8_t>;

/// A byte stream to a bench. One reader and writer at a time. Every error is ErrorKind::kLink,
/// means that the stream is gone for good (closed, unplugged), and names the address.
class Transport {
  public:
    virtual ~Transport() = default;

    /// Waits until at least one byte is there or the timeout has passed; returns the count, 0 on
    /// timeout.
    [[nodiscard]] virtual Result<std::size_t> read(std::span<std::uint8_t> into,
                                                   Milliseconds timeout) = 0;

    /// Sends all bytes, or an error when the other end took none for the timeout.
    [[nodiscard]] virtual Status write_all(Bytes bytes, Milliseconds timeout) = 0;

    /// Harmless when closed already; reads and writes after it are errors.
    virtual void close() = 0;

    /// "serial", "tcp", "unix" or "memory"
    [[nodiscard]] virtual std::string kind() const = 0;

    /// The time the timeouts above are counted in. Tests with a device in memory have their own.
    [[nodiscard]] virtual Clock::time_point now() const { return Clock::now(); }

    /// Lets that time pass.
    virtual void wait(Milliseconds duration) { std::this_thread::sleep_for(duration); }
};

} // namespace yokedock::link
