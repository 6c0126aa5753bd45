// SPDX-License-Identifier: MIT
// A bench in memory for tests of the host: answers the message table as the contract says, stores
// its last answer, and makes blocks from a deterministic source. Its time moves only while it does
// work, and stands still while its pool is full, so that what it sends does not depend on the
// link's losses.
#pragma once
#include "host/link/transport.hpp"
#include "shared/sync/plan.hpp"
#include "shared/wire/frame.hpp"
#include <algorithm>
#include <deque>
#include <map>
#include <vector>

namespace yokedock::test {

/// Deterministic 32-bit mix (the finaliser of MurmurHash3, public domain).
constexpr std::uint32_t mix(std::uint32_t x) {
    x ^= x >> 16;
    x *= 0x85EBCA6Bu;
    x ^= x >> 13;
    x *= 0xC2B2AE35u;
    return x ^ (x >> 16);
}

class FakeDevice {
  public:
    wire::IdentifyAnswer identity;
    wire::StatusAnswer state;
    wire::SyncAchieved plan{};
    bool sync_on = false;
    std::map<wire::MessageKind, int> work; ///< requests done, repeats not counted
    std::map<wire::MessageKind, int> seen; ///< requests received, repeats counted
    wire::RefusedAnswer refuse{};          ///< request != 0: refuse that kind
    bool silent = false;                   ///< answers nothing from now on
    bool overflow = false; ///< loses the words of a stretch of each capture, as a full pool would
    std::uint32_t ticks_per_work = 64000; ///< device time per request, while capturing

    FakeDevice();

    /// Bytes from the host in; the answer's frames out, each whole.
    std::vector<std::vector<std::uint8_t>> receive(link::Bytes bytes);

  private:
    struct Block {
        wire::BlockHead head;
        std::vector<std::uint8_t> words;
    };
    struct Out {
        wire::MessageKind kind;
        std::vector<std::uint8_t> payload;
    };

    std::vector<Out> answer(wire::MessageKind kind, link::Bytes payload);
    std::vector<Out> read_blocks(const wire::ReadBlocksRequest& request);
    void start(const wire::CaptureSettings& settings);
    void run(std::uint32_t until);
    void line(std::uint32_t n);
    void put(wire::BlockKind kind, std::uint32_t time, link::Bytes word, bool needs_new = false);
    void seal(wire::BlockKind kind);

    wire::FrameDecoder<> decoder_;
    int last_ = -1;
    std::vector<std::vector<std::uint8_t>> stored_;

    bool capturing_ = false;
    wire::CaptureSettings settings_{};
    std::uint32_t begin_ = 0;
    std::uint32_t lines_ = 0;
    std::uint32_t captures_ = 0;
    std::uint32_t dropped_ = 0;
    std::uint32_t last_edge_ = 0;
    std::uint32_t uses_[wire::kMaxSchedule] = {};
    std::map<wire::BlockKind, Block> open_;
    std::map<wire::BlockKind, bool> gap_;
    std::deque<Block> sealed_;
    std::uint16_t next_ = 0;
};

/// Link faults, counted deterministically from a seed. 0: none.
struct Faults {
    std::uint32_t flip_one_bit_in = 0;
    std::uint32_t drop_one_frame_in = 0;
    std::uint32_t seed = 1;
};

/// Joins a FakeDevice (or anything like it) to a Requester without threads; time passes only in
/// timeouts.
template <class Device> class DeviceTransport : public link::Transport {
  public:
    explicit DeviceTransport(Device& device, Faults faults = {})
        : device_(device), faults_(faults) {}

    Result<std::size_t> read(std::span<std::uint8_t> into, link::Milliseconds timeout) override {
        if (closed_) {
            return Error{ErrorKind::kLink, "link in memory lost"};
        }
        if (queue_.empty()) {
            now_ += timeout;
            return std::size_t{0};
        }
        const std::size_t count = std::min(into.size(), queue_.size());
        std::copy_n(queue_.begin(), count, into.begin());
        queue_.erase(queue_.begin(), queue_.begin() + static_cast<std::ptrdiff_t>(count));
        return count;
    }

    Status write_all(link::Bytes bytes, link::Milliseconds) override {
        if (closed_) {
            return Error{ErrorKind::kLink, "link in memory lost"};
        }
        std::vector<std::uint8_t> sent(bytes.begin(), bytes.end());
        if (lose(sent)) {
            return Done{};
        }
        for (std::vector<std::uint8_t>& frame : device_.receive(sent)) {
            if (!lose(frame)) {
                queue_.insert(queue_.end(), frame.begin(), frame.end());
            }
        }
        return Done{};
    }

    void close() override { closed_ = true; }
    std::string kind() const override { return "memory"; }
    link::Clock::time_point now() const override { return now_; }
    void wait(link::Milliseconds duration) override { now_ += duration; }
    /// Bytes for the host that no request asked for.
    void inject(const std::vector<std::uint8_t>& bytes) {
        queue_.insert(queue_.end(), bytes.begin(), bytes.end());
    }

  private:
    bool one_in(std::uint32_t n) { return n != 0 && mix(faults_.seed += 0x9E3779B9u) % n == 0; }
    bool lose(std::vector<std::uint8_t>& frame) {
        if (one_in(faults_.drop_one_frame_in)) {
            return true;
        }
        for (std::uint8_t& byte : frame) {
            for (unsigned bit = 0; bit < 8 && faults_.flip_one_bit_in != 0; ++bit) {
                byte = static_cast<std::uint8_t>(
                    byte ^ (one_in(faults_.flip_one_bit_in) ? 1u << bit : 0u));
            }
        }
        return false;
    }

    Device& device_;
    Faults faults_;
    std::deque<std::uint8_t> queue_;
    bool closed_ = false;
    link::Clock::time_point now_{};
};

} // namespace yokedock::test
