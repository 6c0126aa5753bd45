// SPDX-License-Identifier: MIT
#include "host/capture/block_decoder.hpp"
#include "host/link/word_bytes.hpp"
#include <algorithm>

namespace yokedock::capture {

using wire::BlockKind;

namespace {

constexpr std::int64_t kFieldsQuietFactor = 400; ///< a field is at most some 310 lines

std::uint32_t read32(const std::uint8_t* at) {
    std::uint32_t value = 0;
    wire::ReadVisitor(at, 4).field("", "", value);
    return value;
}

std::uint16_t read16(const std::uint8_t* at) {
    std::uint16_t value = 0;
    wire::ReadVisitor(at, 2).field("", "", value);
    return value;
}

/// Keeps the first `count` elements of each.
template <class... Vectors> void cut(std::size_t count, Vectors&... vectors) {
    (vectors.resize(std::min(count, vectors.size())), ...);
}

std::size_t count_until(const std::vector<std::int64_t>& ticks, std::int64_t end) {
    return static_cast<std::size_t>(std::upper_bound(ticks.begin(), ticks.end(), end) -
                                    ticks.begin());
}

} // namespace

BlockDecoder::BlockDecoder(RawCapture& capture, TickAxis& axis) : capture_(capture), axis_(axis) {}

std::int64_t BlockDecoder::last_of(BlockKind kind) const {
    const std::vector<std::int64_t>& ticks =
        kind == BlockKind::kSamples      ? capture_.samples.ticks
        : kind == BlockKind::kLineEdges  ? capture_.line_edges.ticks
        : kind == BlockKind::kFieldEdges ? capture_.field_edges.ticks
                                         : capture_.field_starts.ticks;
    return ticks.empty() ? capture_.begin_ticks : std::max(ticks.back(), capture_.begin_ticks);
}

void BlockDecoder::note_gap(BlockKind kind, std::int64_t end) {
    const std::int64_t begin = last_of(kind);
    capture_.gaps.push_back({kind, begin, std::max(begin, end)});
}

bool BlockDecoder::add(const wire::BlockHead& head, std::span<const std::uint8_t> words) {
    const std::size_t size = link::word_bytes(head.kind);
    if (size == 0 || words.size() != head.count * size || words.empty()) {
        return false;
    }
    const auto kind = static_cast<BlockKind>(head.kind);
    if ((head.flags & wire::kBlockFlagGap) != 0) {
        note_gap(kind, axis_.unwrap(head.base_time));
    }
    std::int64_t previous = axis_.unwrap(head.base_time);
    for (const std::uint8_t* at = words.data(); at != words.data() + words.size(); at += size) {
        switch (kind) {
        case BlockKind::kSamples:
            add_sample(read32(at), head.base_time);
            break;
        case BlockKind::kLineEdges:
            add_line_edge(read16(at), previous);
            break;
        case BlockKind::kFieldEdges:
            add_field_edge(read32(at), head.base_time);
            break;
        case BlockKind::kFieldStarts:
            add_field_start(at);
            break;
        }
    }
    return true;
}

void BlockDecoder::add_sample(std::uint32_t word, std::uint32_t base) {
    constexpr unsigned kTimeShift = wire::kSampleCodeBits + wire::kSampleChannelBits;
    capture_.samples.ticks.push_back(axis_.unwrap(base + (word >> kTimeShift)));
    capture_.samples.code.push_back(
        static_cast<std::uint16_t>(word & ((1u << wire::kSampleCodeBits) - 1)));
    capture_.samples.channel.push_back(static_cast<std::uint8_t>(
        (word >> wire::kSampleCodeBits) & ((1u << wire::kSampleChannelBits) - 1)));
}

void BlockDecoder::add_line_edge(std::uint16_t word, std::int64_t& previous) {
    previous = axis_.unwrap(static_cast<std::uint32_t>(previous) + (word & 0x7FFFu));
    capture_.line_edges.ticks.push_back(previous);
    capture_.line_edges.rising.push_back((word & 0x8000u) != 0);
}

void BlockDecoder::add_field_edge(std::uint32_t word, std::uint32_t base) {
    // Bit 31 of the time gave way to the direction; the base, at most 2^31 ticks older, restores
    // it.
    const std::uint32_t since_base = (word - base) & 0x7FFFFFFFu;
    capture_.field_edges.ticks.push_back(axis_.unwrap(base + since_base));
    capture_.field_edges.rising.push_back((word & 0x80000000u) != 0);
}

void BlockDecoder::add_field_start(const std::uint8_t* word) {
    const std::uint32_t accumulator = read32(word + 4);
    capture_.field_starts.ticks.push_back(axis_.unwrap(read32(word)));
    capture_.field_starts.accumulator.push_back(accumulator & 0x7FFFFFFFu);
    capture_.field_starts.mid_line.push_back((accumulator & 0x80000000u) != 0);
}

void BlockDecoder::finish(std::int64_t quiet_ticks, bool tail_lost) {
    RawCapture& c = capture_;
    const std::int64_t end = c.end_ticks;
    cut(count_until(c.samples.ticks, end), c.samples.ticks, c.samples.code, c.samples.channel);
    cut(count_until(c.line_edges.ticks, end), c.line_edges.ticks, c.line_edges.rising);
    cut(count_until(c.field_edges.ticks, end), c.field_edges.ticks, c.field_edges.rising);
    cut(count_until(c.field_starts.ticks, end), c.field_starts.ticks, c.field_starts.accumulator,
        c.field_starts.mid_line);
    std::erase_if(c.gaps, [end](const RawGap& gap) { return gap.begin_ticks >= end; });
    for (RawGap& gap : c.gaps) {
        gap.end_ticks = std::min(gap.end_ticks, end);
    }
    if (c.words_dropped == 0 && !tail_lost) {
        return;
    }
    if (tail_lost) {
        quiet_ticks = 0;
    }
    const auto watch_tail = [&](BlockKind kind, bool watched, std::int64_t quiet) {
        const bool noted = std::any_of(c.gaps.begin(), c.gaps.end(), [&](const RawGap& gap) {
            return gap.kind == kind && gap.end_ticks >= end;
        });
        if (watched && !noted && end - last_of(kind) > quiet) {
            note_gap(kind, end);
        }
    };
    watch_tail(BlockKind::kSamples, c.settings.entries != 0, quiet_ticks);
    watch_tail(BlockKind::kLineEdges, c.settings.line_edge_mode != 0, quiet_ticks);
    watch_tail(BlockKind::kFieldEdges, c.settings.field_edge_mode != 0,
               kFieldsQuietFactor * quiet_ticks);
}

} // namespace yokedock::capture
