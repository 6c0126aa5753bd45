// SPDX-License-Identifier: MIT
#include "tests/unit/capture/firmware_device.hpp"
#pragma GCC diagnostic push
// The firmware is C++14, where counting volatiles is fine; the warning has two names.
#ifdef __clang__
#pragma GCC diagnostic ignored "-Wdeprecated-volatile"
#else
#pragma GCC diagnostic ignored "-Wvolatile"
#endif
#include "firmware/core/device.hpp"
#pragma GCC diagnostic pop
#include <utility>

namespace yokedock::test {
namespace {

/// The pool's edge interface takes whole ticks, or their low half and a way to the rest.
template <class Pool> void push_rising_edge(Pool& pool, std::uint32_t time) {
    if constexpr (requires { pool.push_line_edge(time, true); }) {
        pool.push_line_edge(time, true);
    } else {
        pool.push_line_edge(static_cast<std::uint16_t>(time), true, true,
                            [time](std::uint16_t) { return time; });
    }
}

/// What firmware::Device asks of its hardware.
class MemoryHardware {
  public:
    using Crc = firmware::PlainCrc;
    struct NoLock {
        NoLock() {}
        ~NoLock() {}
    };

    bool receive(std::uint8_t& byte) {
        if (input.empty()) {
            return false;
        }
        byte = input.front();
        input.pop_front();
        return true;
    }
    std::uint8_t* transmit_buffer() { return buffer_; }
    void transmit(std::uint8_t size) { sent.emplace_back(buffer_, buffer_ + size); }
    std::uint32_t now() const { return time_; }
    static constexpr std::uint32_t clock_hz() { return 16000000; }
    static std::uint32_t stored_serial() { return 1; }
    static wire::ResetCause reset_cause() { return wire::ResetCause::power; }
    const wire::SyncAchieved& sync_plan() const { return plan_; }
    void set_sync(const wire::SyncAchieved& plan) { plan_ = plan; }
    void set_output(bool on) { output_on_ = on; }
    bool output() const { return output_on_; }
    void set_video(wire::VideoPattern) {}
    void start_capture(const wire::CaptureSettings& settings) {
        settings_ = settings;
        capturing_ = true;
        line_ = 0;
        begin_ = time_;
    }
    void stop_capture() {
        capturing_ = false;
        pool_.seal_open();
    }
    void read_counters(wire::StatusAnswer&) const {}
    auto& pool() { return pool_; }
    void set_relays(std::uint8_t) {}
    firmware::Guard& guard() { return guard_; }
    static std::uint16_t convert(std::uint8_t) { return 0; }
    const wire::CaptureSettings& capture_settings() const { return settings_; }
    void start_watch(const wire::CaptureSettings&, bool) {}
    template <class F> void locked(F f) { f(); }
    void rearm_protection() {}
    static bool arm_step(bool, std::uint16_t, bool) { return true; }
    static bool step_passed(bool) { return false; }
    void step_off() {}
    std::uint8_t eeprom_read(std::uint16_t address) const { return eeprom_.at(address); }
    static bool eeprom_ready() { return true; }
    void eeprom_write(std::uint16_t address, std::uint8_t value) { eeprom_.at(address) = value; }
    static std::uint32_t retrace_edges(bool) { return 0; }
    static bool stop_pressed() { return false; }
    static bool over_current() { return false; }

    /// Lets some lines pass.
    void run(std::uint32_t lines) {
        for (; lines > 0; --lines) {
            const auto held = static_cast<std::uint16_t>(pool_.next() - pool_.oldest());
            const bool room = held < firmware::kPoolBlocks - 6;
            if (capturing_ && room) {
                put_line();
            }
            if (!capturing_ || room) {
                time_ += kSourceLineTicks;
            }
        }
    }

    std::deque<std::uint8_t> input;
    std::vector<std::vector<std::uint8_t>> sent;

  private:
    void put_line() {
        const std::uint32_t n = line_++;
        const std::uint32_t start = begin_ + n * kSourceLineTicks;
        if (settings_.line_edge_mode != 0) {
            push_rising_edge(pool_, start + 100 + mix(n) % 8);
        }
        if (settings_.entries != 0) {
            const wire::ScheduleEntry& entry = settings_.schedule[n % settings_.entries];
            const std::uint32_t time = start + 200;
            pool_.push_sample(static_cast<std::uint16_t>(time),
                              static_cast<std::uint16_t>(mix(n) & 0x3FF), entry.channel,
                              [time](std::uint16_t) { return time; });
        }
        if (n % 262 == 0) {
            pool_.push_field_start(start, 0);
            if (settings_.field_edge_mode != 0) {
                pool_.push_field_edge(start + 300 + mix(n) % 16, true);
            }
        }
    }

    std::uint8_t buffer_[wire::kMaxEncodedBytes] = {};
    firmware::BlockPool<firmware::kPoolBlocks, NoLock> pool_;
    firmware::Guard guard_;
    wire::CaptureSettings settings_{};
    std::vector<std::uint8_t> eeprom_ = std::vector<std::uint8_t>(4096, 0xFF);
    wire::SyncAchieved plan_{};
    bool output_on_ = false;
    bool capturing_ = false;
    std::uint32_t time_ = 0xFFF00000u; // the 32-bit clock wraps early in the first capture
    std::uint32_t begin_ = 0;
    std::uint32_t line_ = 0;
};

} // namespace

struct FirmwareDevice::Parts {
    MemoryHardware hardware;
    firmware::Device<MemoryHardware> device{hardware};
};

FirmwareDevice::FirmwareDevice() : parts_(std::make_unique<Parts>()) {
    parts_->device.begin();
}
FirmwareDevice::~FirmwareDevice() = default;

std::vector<std::vector<std::uint8_t>> FirmwareDevice::receive(link::Bytes bytes) {
    MemoryHardware& hardware = parts_->hardware;
    hardware.run(60);
    hardware.input.insert(hardware.input.end(), bytes.begin(), bytes.end());
    while (parts_->device.poll()) {
    }
    return std::exchange(hardware.sent, {});
}

} // namespace yokedock::test
