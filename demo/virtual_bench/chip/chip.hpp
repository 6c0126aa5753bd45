// SPDX-License-Identifier: MIT
// The microcontroller of the bench: an ATmega2560 at 16 MHz that runs an unmodified firmware image
// cycle by cycle. The instruction core, ports, EEPROM and watchdog are libsimavr's; Timers 1 to 5,
// the ADC, USART0 and the cost of interrupt entry are models of this folder, because every figure
// of the bench hangs on their exact times. Time is counted in CPU cycles since power-on; a register
// access counts as happening at the first cycle of its instruction. Not thread safe; several chips
// may live in one process, each in its own thread.
#pragma once
#include "host/result.hpp"
#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

namespace yokedock::sim {

using Cycle = std::uint64_t;
constexpr double kClockHz = 16e6;
constexpr Cycle kNeverCycle = ~Cycle{0};

/// Compare outputs whose level changes are reported. Pins: PB5, PB6, PB7, PE3, PE4, PE5, PB4, PH6,
/// PL3, PL4.
enum class Output : std::uint8_t {
    kOc1a,
    kOc1b,
    kOc1c,
    kOc3a,
    kOc3b,
    kOc3c,
    kOc2a,
    kOc2b,
    kOc5a,
    kOc5b
};
constexpr std::size_t kOutputCount = 10;

/// Input capture pins. ICP4 is PL0, ICP5 is PL1.
enum class CaptureInput : std::uint8_t { kIcp4, kIcp5 };

/// What the chip tells the world. Called in non-decreasing `at`, from inside Chip::run_until. A
/// listener may call set_alarm, capture_edge, send_serial and set_pin of the chip, but not
/// run_until.
class ChipListener {
  public:
    virtual ~ChipListener() = default;
    /// The pin's level changed: compare output while connected, else the port bit; low while not an
    /// output.
    virtual void output_changed(Output, Cycle /*at*/, bool /*high*/) {}
    /// Port 'A' to 'L': which pins are driven high from now on (PORT and DDR both 1).
    virtual void port_changed(char /*port*/, Cycle /*at*/, std::uint8_t /*driven_high*/) {}
    /// The ADC holds its input now; returns the code, 0 to 1023.
    virtual int adc_sample(std::uint8_t /*channel*/, Cycle /*at*/) { return 0; }
    /// The last stop bit of a byte has left the chip.
    virtual void serial_byte(std::uint8_t /*byte*/, Cycle /*at*/) {}
    /// The time given to Chip::set_alarm has come; everything else of that cycle has been told
    /// before.
    virtual void alarm(Cycle /*at*/) {}
    /// The watchdog reset the chip. Outputs and ports have been reported low before.
    virtual void chip_reset(Cycle /*at*/) {}
};

/// Measured from outside the firmware, so that tests can check the firmware's own figures.
struct ChipStatistics {
    Cycle longest_overflow_to_entry = 0;  ///< Timer1 overflow to the first cycle of its handler
    Cycle longest_overflow_to_return = 0; ///< Timer1 overflow to the end of the handler's RETI
    std::uint64_t overflows_merged = 0;   ///< Timer1 overflows that came while one still waited
    std::uint64_t top_missed = 0;         ///< times Timer1 ran past a TOP that was written too late
    std::uint64_t adc_conversions = 0;    ///< finished
    std::uint64_t adc_triggers_ignored = 0; ///< triggers during a conversion
    std::uint64_t adc_results_lost = 0;     ///< results dropped because ADCL was read without ADCH
    std::uint64_t serial_received = 0;      ///< bytes the chip's receiver took
    std::uint64_t serial_sent = 0;          ///< bytes the chip sent
    std::uint64_t serial_overruns = 0; ///< bytes silicon would have lost: held back here, not lost
    std::uint64_t serial_overwritten =
        0;                    ///< bytes the firmware wrote while the transmit buffer was full
    std::uint64_t resets = 0; ///< watchdog resets
    Cycle asleep_cycles = 0;  ///< time spent in sleep
};

class Chip {
  public:
    /// Reads an AVR ELF image and powers the chip. The listener must outlive the chip.
    static Result<std::unique_ptr<Chip>> load(const std::string& elf_path, ChipListener& listener);
    ~Chip();
    Chip(const Chip&) = delete;
    Chip& operator=(const Chip&) = delete;

    /// Runs until now() >= target (a few cycles more: instructions are not cut). Fails when the
    /// firmware crashed, stopped for good, or used a peripheral setting that these models do not
    /// have.
    Status run_until(Cycle target);
    Cycle now() const;

    bool output(Output output) const;
    /// Earliest cycle at which this pin can change by its timer alone, as the registers stand now:
    /// exact unless the firmware writes TOP, TCNT or COM before. kNeverCycle when the timer stands.
    Cycle next_output_event(Output output) const;
    /// The firmware sets Timer1's TOP in every period and has not done so in this one: a forecast
    /// beyond its next match may still change.
    bool period_open() const;

    /// One alarm at a time; a later call replaces it. A time in the past means as soon as possible.
    void set_alarm(Cycle at);

    /// A level change of a capture pin at an exact cycle, now or in the future; calls in time order
    /// per input.
    void capture_edge(CaptureInput input, Cycle at, bool high);
    /// A level on a digital input pin, from now on ('A' to 'L', 0 to 7). Serves PINx, pin-change
    /// and INTn.
    void set_pin(char port, std::uint8_t bit, bool high);

    /// Queues bytes for the chip's receiver; they arrive back to back at the firmware's baud rate.
    void send_serial(const std::uint8_t* bytes, std::size_t count);
    /// Bytes queued that the receiver has not taken yet.
    std::size_t serial_backlog() const;

    ChipStatistics statistics() const;
    void clear_longest();                                ///< zeroes the two longest_ figures
    std::uint8_t data_byte(std::uint16_t address) const; ///< data space, for tests
    /// What the EEPROM holds now, all of it. A byte that is just being written is new already.
    std::vector<std::uint8_t> eeprom() const;
    /// Before the first run_until: what an earlier life of this chip left there, from address 0.
    void set_eeprom(const std::vector<std::uint8_t>& contents);
    /// Writes RAM behind the program's back, for tests; address: 0x200 to 0x21FF.
    void set_ram_byte(std::uint16_t address, std::uint8_t value);
    /// False while a handler runs that lets no other in, or where the program forbids it.
    bool interrupts_enabled() const;
    /// For tests: the instruction that comes next becomes a jump to itself, until a reset. Whatever
    /// runs now hangs there; interrupts are served as far as they are enabled there.
    void hang();

  private:
    struct Impl;
    explicit Chip(std::unique_ptr<Impl> impl);
    std::unique_ptr<Impl> impl_;
};

} // namespace yokedock::sim
