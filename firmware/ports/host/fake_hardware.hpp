// SPDX-License-Identifier: MIT
// The Hardware of firmware/core/device.hpp in memory, for host tests: bytes in, frames out, a clock
// set by hand.
#pragma once
#include "firmware/core/block_pool.hpp"
#include "firmware/core/device.hpp"
#include "firmware/core/limits.hpp"
#include <cstdint>
#include <deque>
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
    int supply_off_calls = 0;
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
        ++starts;
    }
    void stop_capture() {
        ++stops;
        pool_.seal_open();
    }
    void read_counters(wire::StatusAnswer& status) { status.fields = 7; }
    auto& pool() { return pool_; }
    void supply_off() { ++supply_off_calls; }
    bool stop_pressed() const { return stop; }
    bool over_current() const { return current; }

  private:
    std::uint8_t buffer_[wire::kMaxEncodedBytes] = {};
    BlockPool<kPoolBlocks, NoLock> pool_;
};

} // namespace yokedock::firmware
