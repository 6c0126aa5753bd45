// SPDX-License-Identifier: MIT
// The Hardware of firmware/core/device.hpp in memory, for host tests: bytes in, frames out, a clock
// set by hand.
#pragma once
#include "firmware/core/block_pool.hpp"
#include "firmware/core/device.hpp"
#include "firmware/core/limits.hpp"
#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <vector>

namespace yokedock::firmware {

struct NoLock {
    NoLock() {}
    ~NoLock() {}
};

class FakeHardware {
  public:
    using Crc = PlainCrc;

    // What a test sets and looks at.
    std::deque<std::uint8_t> input;
    std::vector<std::vector<std::uint8_t>> sent; ///< encoded frames
    std::uint32_t time = 0;
    bool transmit_blocked = false;
    bool stop = false;
    bool current = false;
    std::uint8_t relays = 0xFF; ///< as last set
    std::function<void(std::uint8_t before, std::uint8_t after)> on_relays;
    std::array<std::uint16_t, 8> code{}; ///< what the converter reads
    int watches = 0;
    bool watch_keeps = false;
    bool sampling = false;
    bool counting = false;
    std::array<std::uint32_t, 2> edges{}; ///< field, line
    int starts = 0;
    int stops = 0;
    int sync_changes = 0;
    std::optional<bool> asked_output;
    std::optional<wire::VideoPattern> pattern;
    wire::CaptureSettings capture;
    wire::ResetCause cause = wire::ResetCause::power;
    wire::SyncAchieved plan{508, 4, 9, 525, 75, 37, 75, 6, 6, 6, 0};

    // What Device asks for.
    bool receive(std::uint8_t& byte) {
        if (input.empty()) {
            return false;
        }
        byte = input.front();
        input.pop_front();
        return true;
    }
    std::uint8_t* transmit_buffer() { return transmit_blocked ? nullptr : buffer_; }
    void transmit(std::uint8_t size) { sent.emplace_back(buffer_, buffer_ + size); }
    std::uint32_t now() const { return time; }
    static std::uint32_t clock_hz() { return 16000000; }
    static std::uint32_t bench_serial() { return 4711; }
    wire::ResetCause reset_cause() const { return cause; }
    const wire::SyncAchieved& sync_plan() const { return plan; }
    void set_sync(const wire::SyncAchieved& achieved) {
        plan = achieved;
        ++sync_changes;
    }
    void set_output(bool on) { asked_output = on; }
    bool output() const { return asked_output.value_or(false); }
    void set_video(wire::VideoPattern wanted) { pattern = wanted; }
    void start_capture(const wire::CaptureSettings& settings) {
        capture = settings;
        sampling = true;
        ++starts;
    }
    void start_watch(bool keep) {
        ++watches;
        watch_keeps = keep;
        sampling = counting = true;
    }
    void stop_capture() {
        ++stops;
        sampling = counting = false;
        pool_.seal_open();
    }
    void read_counters(wire::StatusAnswer& status) { status.fields = 7; }
    auto& pool() { return pool_; }
    void set_relays(std::uint8_t wanted) {
        if (on_relays) {
            on_relays(relays, wanted);
        }
        relays = wanted;
    }
    bool stop_pressed() const { return stop; }
    bool over_current() const { return current; }
    Guard& guard() { return guard_; }
    std::uint16_t convert(std::uint8_t channel) const { return code[channel]; }
    template <class F> void locked(F f) { f(); }
    bool retrace_counted(bool) const { return counting; }
    std::uint32_t retrace_edges(bool line) const { return edges[line ? 1 : 0]; }

    /// One sample of a guarded channel, as the conversion handler would do it.
    void sample(ChannelId channel) {
        const auto at = static_cast<std::uint8_t>(channel);
        if (sampling && guard_.reading(at, code[at])) {
            set_relays(static_cast<std::uint8_t>(relays & ~(kRelaySupply | kRelayBypass)));
        }
    }

  private:
    std::uint8_t buffer_[wire::kMaxEncodedBytes] = {};
    BlockPool<kPoolBlocks, NoLock> pool_;
    Guard guard_;
};

} // namespace yokedock::firmware
