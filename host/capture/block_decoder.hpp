// SPDX-License-Identifier: MIT
#pragma once
#include "host/capture/raw_capture.hpp"
#include "host/capture/tick_axis.hpp"
#include <array>
#include <span>

namespace yokedock::capture {

/// Blocks, in their order, to the vectors of a RawCapture. Pure. Any content of a block is safe.
class BlockDecoder {
  public:
    /// capture.begin_ticks must be set, and axis must have seen it. Both must outlive the decoder.
    BlockDecoder(RawCapture& capture, TickAxis& axis);

    /// words: head.count words of the kind's size. False, and nothing taken, when the kind is
    /// unknown or the size does not match.
    bool add(const wire::BlockHead& head, std::span<const std::uint8_t> words);

    /// After the last block: cuts everything after capture.end_ticks and notes as gaps the ends
    /// that were not watched. tail_lost: the capture was cut off, so every source ends with its
    /// last word. Else, where words were dropped, a source that is silent at the end for longer
    /// than normal was lost there; quiet_ticks is the longest normal silence of samples and line
    /// edges, and field sources get 400 times that.
    void finish(std::int64_t quiet_ticks, bool tail_lost);

  private:
    void add_sample(std::uint32_t word, std::uint32_t base);
    void add_line_edge(std::uint16_t word, std::int64_t& previous);
    void add_field_edge(std::uint32_t word, std::uint32_t base);
    void add_field_start(const std::uint8_t* word);
    void note_gap(wire::BlockKind kind, std::int64_t end);
    [[nodiscard]] std::int64_t last_of(wire::BlockKind kind) const;

    RawCapture& capture_;
    TickAxis& axis_;
};

} // namespace yokedock::capture
