// SPDX-License-Identifier: MIT
// The Hardware of firmware/core/device.hpp on the ATmega2560. Main loop only.
#pragma once
#include "firmware/ports/avr/crc16_fast.hpp"
#include "firmware/ports/avr/protection.hpp"
#include "firmware/ports/avr/sampling.hpp"
#include "firmware/ports/avr/serial.hpp"
#include "firmware/ports/avr/state.hpp"
#include "firmware/ports/avr/step_pin.hpp"

namespace yokedock {
namespace firmware {

class AvrHardware {
  public:
    using Crc = FastCrc;

    /// After reset, interrupts off: pins, timers, serial line.
    void begin();
    /// Once per round of the main loop.
    void poll();

    bool receive(uint8_t& byte) { return receive_byte(byte); }
    uint8_t* transmit_buffer() { return firmware::transmit_buffer(); }
    void transmit(uint8_t size) { firmware::transmit(size); }

    uint32_t now() const;
    static constexpr uint32_t clock_hz() { return F_CPU; }
    uint32_t stored_serial() const;
    wire::ResetCause reset_cause() const;

    const wire::SyncAchieved& sync_plan() const { return plans_[newest_].achieved; }
    void set_sync(const wire::SyncAchieved& achieved);
    void set_output(bool on);
    bool output() const;
    void set_video(wire::VideoPattern pattern);

    void start_capture(const wire::CaptureSettings& settings);
    void stop_capture();
    void read_counters(wire::StatusAnswer& status);
    Pool& pool() { return firmware::pool; }

    void set_relays(uint8_t relays);
    Guard& guard() { return firmware::guard; }
    uint16_t convert(uint8_t channel) const { return convert_once(channel); }
    const wire::CaptureSettings& capture_settings() const { return settings_; }
    void start_watch(const wire::CaptureSettings& settings, bool keep);
    template <class F> void locked(F f) {
        // Neither start a conversion by a bit that was read as "under way", nor clear the flag.
        const uint8_t kept = static_cast<uint8_t>(ADCSRA & ~((1 << ADSC) | (1 << ADIF)));
        ADCSRA = static_cast<uint8_t>(kept & ~(1 << ADIE));
        f();
        if (firmware::guard.path.watching != 0) {
            GPIOR0 |= 1 << kWatchingBit;
        } else {
            GPIOR0 &= static_cast<uint8_t>(~(1 << kWatchingBit));
        }
        ADCSRA = kept;
    }
    uint32_t retrace_edges(bool line);
    bool stop_pressed() const { return stop_seen(); }
    bool over_current() const { return over_current_seen(); }
    void rearm_protection() { firmware::rearm_protection(); }

    bool arm_step(bool horizontal, uint16_t low, bool on) {
        return arm_step_pin(horizontal, low, on);
    }
    bool step_passed(bool horizontal) { return step_pin_passed(horizontal); }
    void step_off() { step_pin_off(); }

    uint8_t eeprom_read(uint16_t address) const;
    bool eeprom_ready() const { return (EECR & (1 << EEPE)) == 0; }
    void eeprom_write(uint16_t address, uint8_t value);

  private:
    uint16_t line_ticks() const { return static_cast<uint16_t>(2 * sync_plan().half_line_ticks); }
    bool change_pending() const;
    void reset_counters();
    void begin_capture();
    void sample_for_guard();
    bool other_work() const;
    void record_field();

    SlotPlan plans_[2];
    uint32_t fields_ = 0;
    uint8_t field_number_ = 0;
    uint8_t newest_ = 0;
    uint8_t capture_ = kIdle;
    static constexpr uint8_t kIdle = 0;
    static constexpr uint8_t kWaiting = 1; ///< for a sync change to come into force
    static constexpr uint8_t kRunning = 2;
    static constexpr uint8_t kWatching = 3; ///< for the guard alone
    wire::VideoPattern pattern_ = wire::VideoPattern::kBlack;
    wire::CaptureSettings settings_;
    uint32_t edges_seen_[2] = {}; ///< field, line; while no interrupt counts them
};

} // namespace firmware
} // namespace yokedock
