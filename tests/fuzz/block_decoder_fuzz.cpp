// SPDX-License-Identifier: MIT
// libFuzzer target: bytes as a run of block payloads (one length byte before each) through the
// block decoder. The vectors of a capture must keep equal sizes, and finish() must leave nothing
// after the end.
#include "host/capture/block_decoder.hpp"
#include <algorithm>
#include <cstdlib>

using namespace yokedock;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    capture::RawCapture raw;
    capture::TickAxis axis;
    raw.settings.entries = 1;
    raw.settings.line_edge_mode = 3;
    raw.settings.field_edge_mode = 3;
    capture::BlockDecoder decoder(raw, axis);
    std::size_t at = 0;
    while (at < size) {
        const std::size_t wanted = data[at++];
        const std::size_t length = std::min(wanted, size - at);
        wire::ReadVisitor reader(data + at, length);
        wire::BlockHead head{};
        head.visit(reader);
        at += length;
        if (reader.ok()) {
            decoder.add(head, {reader.rest(), reader.left()});
        }
    }
    raw.words_dropped = static_cast<std::uint32_t>(size & 1);
    raw.end_ticks = axis.newest() - 100;
    decoder.finish(1000, (size & 2) != 0);
    const bool equal = raw.samples.ticks.size() == raw.samples.code.size() &&
                       raw.samples.ticks.size() == raw.samples.channel.size() &&
                       raw.line_edges.ticks.size() == raw.line_edges.rising.size() &&
                       raw.field_edges.ticks.size() == raw.field_edges.rising.size() &&
                       raw.field_starts.ticks.size() == raw.field_starts.mid_line.size() &&
                       raw.field_starts.ticks.size() == raw.field_starts.accumulator.size();
    for (const capture::RawGap& gap : raw.gaps) {
        if (gap.end_ticks < gap.begin_ticks && gap.end_ticks != raw.end_ticks) {
            std::abort();
        }
    }
    if (!equal) {
        std::abort();
    }
    return 0;
}
