// SPDX-License-Identifier: MIT
#include "host/capture/block_reader.hpp"
#include <algorithm>
#include <fmt/format.h>

namespace yokedock::capture {

BlockReader::BlockReader(const bench::Bench& bench, Sink sink)
    : bench_(bench), sink_(std::move(sink)),
      // A third of the pool per request. Its blocks are held until the next request frees them;
      // meanwhile as many come anew, one of each kind is open, and the rest bridges the time
      // that the request takes.
      batch_(static_cast<std::uint8_t>(std::max(1, bench.identity().pool_blocks / 3))) {}

wire::ReadBlocksRequest BlockReader::next_request() const {
    wire::ReadBlocksRequest request{};
    request.first = static_cast<std::uint16_t>(next_);
    request.free_below = request.first;
    request.count = batch_;
    if (!ahead_.empty()) { // only the hole in front of what is here already
        request.count = static_cast<std::uint8_t>(
            std::min<std::uint64_t>(batch_, ahead_.begin()->first - next_));
    }
    return request;
}

void BlockReader::keep(const wire::BlockHead& head, link::Bytes words) {
    const auto offset =
        static_cast<std::uint16_t>(head.sequence - static_cast<std::uint16_t>(next_));
    if (offset < 256) { // older ones were delivered before
        ahead_.try_emplace(next_ + offset, Block{head, {words.begin(), words.end()}});
    }
}

std::size_t BlockReader::deliver() {
    std::size_t count = 0;
    for (auto at = ahead_.begin(); at != ahead_.end() && at->first == next_;
         at = ahead_.erase(at)) {
        sink_(at->second.head, at->second.words);
        ++next_;
        ++count;
    }
    return count;
}

Result<BlockReader::Progress> BlockReader::poll() {
    const auto answer =
        bench_.read_blocks(next_request(), [this](const wire::BlockHead& head, link::Bytes words) {
            keep(head, words);
        });
    if (!answer) {
        return answer.error();
    }
    const auto ahead =
        static_cast<std::int16_t>(answer.value().oldest - static_cast<std::uint16_t>(next_));
    if (ahead > 0) {
        return Error{
            ErrorKind::kRefused,
            fmt::format(
                "the bench no longer has block {}: its oldest is {}; expected every block until "
                "it is read; see that no other program uses the bench, and measure again",
                next_ & 0xFFFFu, answer.value().oldest)};
    }
    const std::size_t delivered = deliver();
    if (!ahead_.empty() || (answer.value().sent > 0 && delivered < answer.value().sent)) {
        ++asked_again_;
    }
    return Progress{delivered, answer.value().capturing != 0, answer.value().words_dropped};
}

Status BlockReader::drain(std::uint16_t blocks) {
    while (static_cast<std::uint16_t>(next_) != blocks) {
        const auto progress = poll();
        if (!progress) {
            return progress.error();
        }
    }
    return Done{};
}

} // namespace yokedock::capture
