// SPDX-License-Identifier: MIT
// Chip and simulated board wired together, with the serial line as two byte queues: the whole
// virtual bench without a socket. Runs only when told to, in simulated time; deterministic for a
// given image, board and sequence of calls.
#pragma once
#include "demo/virtual_bench/board_port.hpp"
#include "demo/virtual_bench/chip/chip.hpp"
#include "host/result.hpp"
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

namespace yokedock::sim {

class BenchSimulation {
  public:
    /// firmware_elf: the image to run. The board's time axis starts with the chip's.
    static Result<std::unique_ptr<BenchSimulation>> create(const std::string& firmware_elf,
                                                           std::unique_ptr<BoardPort> board);
    ~BenchSimulation();

    Status run_cycles(Cycle cycles);
    Status run_seconds(double seconds);
    /// Runs on until at least one byte from the chip can be taken, at the most for limit_seconds.
    Status run_until_output(double limit_seconds);

    void send(const std::uint8_t* bytes,
              std::size_t count); ///< host to chip; never refused, never lost
    void send(const std::vector<std::uint8_t>& bytes) { send(bytes.data(), bytes.size()); }
    std::vector<std::uint8_t> take_output(); ///< chip to host: all bytes so far, each once

    /// The stop button: the chip reads it, and K1, K2 and K5 lose their supply. Released at first.
    void press_stop(bool pressed);

    double time_s() const;
    Chip& chip();
    BoardPort& board();

    /// Sync edges that came earlier than the board had already been run to; they reach it late. 0
    /// unless the firmware writes TOP too late or stops its timer.
    std::uint64_t late_sync_edges() const;

  private:
    struct Impl;
    explicit BenchSimulation(std::unique_ptr<Impl> impl);
    std::unique_ptr<Impl> impl_;
};

} // namespace yokedock::sim
