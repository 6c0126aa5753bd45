// SPDX-License-Identifier: MIT
#include "tests/unit/link/fake_device.hpp"
#include "shared/channels.hpp"
#include <algorithm>

namespace yokedock::test {

using wire::BlockKind;
using wire::MessageKind;

namespace {

constexpr std::uint32_t kLineTicks = 1016;
constexpr std::uint32_t kFieldTicks = 266000;

template <class Message> std::vector<std::uint8_t> bytes_of(const Message& message) {
    std::vector<std::uint8_t> bytes(wire::wire_size<Message>());
    wire::write_fields(message, bytes.data(), bytes.size());
    return bytes;
}

template <class Message> Message parse(link::Bytes bytes) {
    Message message{};
    wire::read_fields(message, bytes.data(), bytes.size());
    return message;
}

std::vector<std::uint8_t> little(std::uint32_t value, int size) {
    std::vector<std::uint8_t> bytes;
    for (int i = 0; i < size; ++i) {
        bytes.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
    }
    return bytes;
}

std::vector<std::uint8_t> encode(MessageKind kind, std::uint8_t number,
                                 const std::vector<std::uint8_t>& payload) {
    std::uint8_t scratch[wire::kMaxFrameBytes];
    std::vector<std::uint8_t> out(wire::kMaxEncodedBytes);
    out.resize(
        wire::encode_frame(kind, number, payload.data(), payload.size(), scratch, out.data()));
    return out;
}

} // namespace

FakeDevice::FakeDevice() {
    identity.clock_hz = 16000000;
    identity.channels = kChannelCount;
    identity.pool_blocks = 20;
    identity.max_schedule = wire::kMaxSchedule;
    identity.min_line_rate_mhz = sync::kMinLineRateMhz;
    identity.max_line_rate_mhz = sync::kMaxLineRateMhz;
    identity.silence_limit_ms = 2000;
    identity.firmware_minor = 1;
}

std::vector<std::vector<std::uint8_t>> FakeDevice::receive(link::Bytes bytes) {
    std::vector<std::vector<std::uint8_t>> out;
    for (const std::uint8_t byte : bytes) {
        if (decoder_.push(byte) != wire::DecodeEvent::kFrame) {
            continue;
        }
        const wire::Frame frame = decoder_.frame();
        ++seen[frame.kind];
        const int key = static_cast<int>(frame.kind) * 256 + frame.number;
        if (key != last_) {
            last_ = key;
            ++work[frame.kind];
            stored_.clear();
            for (const Out& each : answer(frame.kind, link::Bytes(frame.payload, frame.size))) {
                stored_.push_back(encode(each.kind, frame.number, each.payload));
            }
        }
        if (!silent) {
            out.insert(out.end(), stored_.begin(), stored_.end());
        }
    }
    return out;
}

std::vector<FakeDevice::Out> FakeDevice::answer(MessageKind kind, link::Bytes payload) {
    const MessageKind answer_kind = wire::answer_to(kind);
    if (refuse.request == static_cast<std::uint8_t>(kind)) {
        return {{MessageKind::refused, bytes_of(refuse)}};
    }
    if (capturing_) {
        run(state.time + ticks_per_work);
    } else {
        state.time += ticks_per_work;
    }
    switch (kind) {
    case MessageKind::identify:
        return {{answer_kind, bytes_of(identity)}};
    case MessageKind::status: {
        state.flags = static_cast<std::uint8_t>((sync_on ? 1 : 0) | (capturing_ ? 2 : 0));
        return {{answer_kind, bytes_of(state)}};
    }
    case MessageKind::set_sync: {
        const auto result = sync::make_plan(parse<wire::SyncSettings>(payload), identity.clock_hz);
        if (!result.ok) {
            return {
                {MessageKind::refused, bytes_of(wire::RefusedAnswer{static_cast<std::uint8_t>(kind),
                                                                    3, result.bad_field})}};
        }
        plan = result.achieved;
        return {{answer_kind, bytes_of(plan)}};
    }
    case MessageKind::sync_output:
        sync_on = payload[0] != 0;
        return {{answer_kind, {payload[0]}}};
    case MessageKind::start_capture:
        start(parse<wire::CaptureSettings>(payload));
        return {{answer_kind, bytes_of(wire::CaptureStarted{begin_, 32, 216})}};
    case MessageKind::stop_capture:
        for (const BlockKind each : {BlockKind::kSamples, BlockKind::kLineEdges,
                                     BlockKind::kFieldEdges, BlockKind::kFieldStarts}) {
            seal(each);
        }
        capturing_ = false;
        return {{answer_kind, bytes_of(wire::CaptureStopped{next_, dropped_})}};
    case MessageKind::read_blocks:
        return read_blocks(parse<wire::ReadBlocksRequest>(payload));
    case MessageKind::power_off:
        return {{answer_kind, bytes_of(wire::PowerAnswer{0, 1})}};
    case MessageKind::set_video:
    case MessageKind::echo:
        return {{answer_kind, {payload.begin(), payload.end()}}};
    default:
        return {{MessageKind::refused,
                 bytes_of(wire::RefusedAnswer{static_cast<std::uint8_t>(kind), 1, 0})}};
    }
}

std::vector<FakeDevice::Out> FakeDevice::read_blocks(const wire::ReadBlocksRequest& request) {
    while (!sealed_.empty() &&
           static_cast<std::int16_t>(sealed_.front().head.sequence - request.free_below) < 0) {
        sealed_.pop_front();
    }
    std::vector<Out> out;
    wire::ReadBlocksAnswer tail{};
    tail.sent_from = request.first;
    for (const Block& block : sealed_) {
        const auto offset = static_cast<std::uint16_t>(block.head.sequence - request.first);
        if (offset < request.count) {
            std::vector<std::uint8_t> payload = bytes_of(block.head);
            payload.insert(payload.end(), block.words.begin(), block.words.end());
            out.push_back({MessageKind::block, payload});
            ++tail.sent;
        }
    }
    tail.oldest = sealed_.empty() ? next_ : sealed_.front().head.sequence;
    tail.next = next_;
    tail.capturing = capturing_ ? 1 : 0;
    tail.words_dropped = dropped_;
    out.push_back({wire::answer_to(MessageKind::read_blocks), bytes_of(tail)});
    return out;
}

void FakeDevice::start(const wire::CaptureSettings& settings) {
    settings_ = settings;
    // Each capture at its own round time, whatever number of requests came before; the second
    // straddles the wrap of the 32-bit clock.
    begin_ = 0xFF000000u - 8000000u + captures_++ * 24000000u;
    state.time = begin_;
    lines_ = dropped_ = last_edge_ = 0;
    std::fill(std::begin(uses_), std::end(uses_), 0u);
    open_.clear();
    gap_.clear();
    sealed_.clear();
    next_ = 0;
    capturing_ = true;
}

void FakeDevice::run(std::uint32_t until) {
    while (sealed_.size() + 5 < identity.pool_blocks &&
           static_cast<std::int32_t>(until - (begin_ + lines_ * kLineTicks)) > 0) {
        line(lines_++);
        state.time = begin_ + lines_ * kLineTicks;
    }
}

void FakeDevice::line(std::uint32_t n) {
    const std::uint32_t start = begin_ + n * kLineTicks;
    if (n % (kFieldTicks / kLineTicks) == 0) {
        std::vector<std::uint8_t> word =
            bytes_of(wire::FieldStart{start, n % 2 != 0 ? 0x80000000u : 0u});
        put(BlockKind::kFieldStarts, start, word);
        if (settings_.field_edge_mode != 0) {
            const std::uint32_t edge = start + 300 + mix(n) % 16;
            put(BlockKind::kFieldEdges, edge, little((edge & 0x7FFFFFFFu) | 0x80000000u, 4));
        }
    }
    if (settings_.entries != 0) {
        const std::uint8_t which = static_cast<std::uint8_t>(n % settings_.entries);
        const wire::ScheduleEntry& entry = settings_.schedule[which];
        const std::uint32_t time =
            start + entry.first_place + entry.step * (uses_[which]++ % entry.places);
        const auto open = open_.find(BlockKind::kSamples);
        const std::uint32_t base = open == open_.end() ? time : open->second.head.base_time;
        const bool far = time - base >= (1u << wire::kSampleTimeBits);
        put(BlockKind::kSamples, time,
            little((mix(n ^ captures_ << 24) & 0x3FFu) |
                       static_cast<std::uint32_t>(entry.channel) << 10 |
                       (far ? 0u : time - base) << 13,
                   4),
            far);
    }
    if (settings_.line_edge_mode != 0) {
        const std::uint32_t edge = start + 100 + mix(n) % 8;
        const std::uint32_t delta = open_.count(BlockKind::kLineEdges) != 0 ? edge - last_edge_ : 0;
        put(BlockKind::kLineEdges, edge, little(delta | 0x8000u, 2));
        last_edge_ = edge;
    }
}

void FakeDevice::put(BlockKind kind, std::uint32_t time, link::Bytes word, bool needs_new) {
    const bool lost = overflow && lines_ > 1000 && lines_ <= 1200;
    if (lost && kind != BlockKind::kFieldStarts) {
        seal(kind);
        gap_[kind] = true;
        ++dropped_;
        return;
    }
    if (needs_new) {
        seal(kind);
    }
    Block& block = open_[kind];
    if (block.head.count == 0) {
        block.head.kind = static_cast<std::uint8_t>(kind);
        block.head.flags = gap_[kind] ? wire::kBlockFlagGap : 0;
        block.head.base_time = time;
        gap_[kind] = false;
    }
    ++block.head.count;
    block.words.insert(block.words.end(), word.begin(), word.end());
    if (block.words.size() == wire::kBlockDataBytes) {
        seal(kind);
    }
}

void FakeDevice::seal(BlockKind kind) {
    const auto open = open_.find(kind);
    if (open != open_.end()) {
        open->second.head.sequence = next_++;
        sealed_.push_back(open->second);
        open_.erase(open);
    }
}

} // namespace yokedock::test
