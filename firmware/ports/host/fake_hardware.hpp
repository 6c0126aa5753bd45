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
#include <utility>
#include <vector>

namespace yokedock::firmware {

struct NoLock {
    NoLock() {}
    ~NoLock() {}
};

/// A drive whose edges are armed ahead, as a compare unit does it.
class FakeDrive {
  public:
    bool arm(std::uint32_t now, std::uint16_t low, bool on) {
        settle(now);
        at_ = now + static_cast<std::uint16_t>(low - static_cast<std::uint16_t>(now));
        on_ = on;
        armed_ = true;
        return true;
    }
    bool passed(std::uint32_t now) {
        settle(now);
        return !armed_;
    }
    bool on(std::uint32_t now) {
        settle(now);
        return level_;
    }
    void off() { armed_ = level_ = false; }
    std::vector<std::pair<std::uint32_t, bool>> edges; ///< where they stood

  private:
    void settle(std::uint32_t now) {
        if (armed_ && static_cast<std::int32_t>(now - at_) >= 0) {
            armed_ = false;
            level_ = on_;
            edges.emplace_back(at_, on_);
        }
    }
    bool armed_ = false;
    bool on_ = false;
    bool level_ = false;
    std::uint32_t at_ = 0;
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
    std::uint32_t serial = 4711;
    std::vector<std::uint8_t> eeprom = std::vector<std::uint8_t>(4096, 0xFF);
    std::uint64_t eeprom_done = 0; ///< time at which the byte written last is done
    FakeDrive drive;               ///< of the load asked for
    bool drive_horizontal = false;
    bool stop_seen = false; ///< since rearm_protection
    bool current_seen = false;
    std::array<std::uint32_t, 2> edges{}; ///< field, line
    int starts = 0;
    int stops = 0;
    int sync_changes = 0;
    std::optional<bool> asked_output;
    std::optional<wire::VideoPattern> pattern;
    wire::CaptureSettings capture;
    wire::CaptureSettings watch;
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
    static constexpr std::uint32_t clock_hz() { return 16000000; }
    std::uint32_t stored_serial() const { return serial; }
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
    const wire::CaptureSettings& capture_settings() const { return capture; }
    void start_watch(const wire::CaptureSettings& settings, bool keep) {
        ++watches;
        watch_keeps = keep;
        watch = settings;
        sampling = true;
    }
    void stop_capture() {
        ++stops;
        sampling = false;
        pool_.seal_open();
    }
    void read_counters(wire::StatusAnswer& status) { status.fields = 7; }
    auto& pool() { return pool_; }
    void set_relays(std::uint8_t wanted) {
        if (guard_.cause() != wire::StopCause::none || stop_seen || current_seen) {
            wanted = static_cast<std::uint8_t>(wanted & ~(kRelaySupply | kRelayBypass));
        }
        if (on_relays) {
            on_relays(relays, wanted);
        }
        relays = wanted;
    }
    bool stop_pressed() const { return stop || stop_seen; }
    bool over_current() const { return current || current_seen; }
    void rearm_protection() { stop_seen = current_seen = false; }
    /// The interrupts of the stop loop and the comparator.
    void press_stop() {
        stop_seen = true;
        set_relays(relays);
    }
    void rise_current() {
        current_seen = true;
        set_relays(relays);
    }
    bool arm_step(bool horizontal, std::uint16_t low, bool on) {
        drive_horizontal = horizontal;
        return drive.arm(time, low, on);
    }
    bool step_passed(bool) { return drive.passed(time); }
    void step_off() { drive.off(); }
    std::uint8_t eeprom_read(std::uint16_t address) const { return eeprom.at(address); }
    bool eeprom_ready() const { return time >= eeprom_done; }
    void eeprom_write(std::uint16_t address, std::uint8_t value) {
        eeprom.at(address) = value;
        eeprom_done = time + 54400; // 3.4 ms
    }
    Guard& guard() { return guard_; }
    std::uint16_t convert(std::uint8_t channel) const { return code[channel]; }
    template <class F> void locked(F f) { f(); }
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
