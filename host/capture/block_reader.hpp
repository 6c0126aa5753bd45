// SPDX-License-Identifier: MIT
#pragma once
#include "host/bench/bench.hpp"
#include <map>
#include <vector>

namespace yokedock::capture {

/// Reads the numbered blocks of the running capture in order. Blocks that a bad link lost are asked
/// for again, alone; blocks are given free only once they are here, so a bad link costs time and
/// never data.
class BlockReader {
  public:
    using Sink = std::function<void(const wire::BlockHead&, link::Bytes)>;

    /// Starts with block 0: make one per start_capture. sink gets every block once, in order.
    BlockReader(const bench::Bench& bench, Sink sink);

    struct Progress {
        std::size_t delivered = 0; ///< blocks given to the sink
        bool capturing = false;
        std::uint32_t words_dropped = 0;
    };

    /// One read request. kLink, kStopped; kRefused when the bench no longer has a block that was
    /// not read (it restarted, or another program read from it).
    [[nodiscard]] Result<Progress> poll();

    /// Reads until `blocks` (of CaptureStopped, modulo 65536) are delivered.
    [[nodiscard]] Status drain(std::uint16_t blocks);

    [[nodiscard]] std::uint64_t blocks_asked_again() const { return asked_again_; }

  private:
    struct Block {
        wire::BlockHead head;
        std::vector<std::uint8_t> words;
    };

    [[nodiscard]] wire::ReadBlocksRequest next_request() const;
    void keep(const wire::BlockHead& head, link::Bytes words);
    std::size_t deliver();

    const bench::Bench& bench_;
    Sink sink_;
    std::uint8_t batch_;
    std::uint64_t next_ = 0;               ///< first block not delivered, not wrapped
    std::map<std::uint64_t, Block> ahead_; ///< blocks that came while an earlier one is missing
    std::uint64_t asked_again_ = 0;
};

} // namespace yokedock::capture
