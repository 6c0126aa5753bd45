// SPDX-License-Identifier: MIT
// A timer of the ATmega2560 in place of simavr's: Timer1, 3, 4, 5 (16 bits) and Timer2 (8 bits).
//
// Kept from the data sheet: OCRnx double buffered and loaded at BOTTOM in fast PWM; TOP from ICRn
// or OCRnA, ICRn immediate; a TOP written below the count lets the counter run to MAX; the shared
// TEMP register; write-one-to- clear flags; pin latches that change one timer clock after the match
// and survive being disconnected; OCR = TOP constant, OCR > TOP never; FOC strobes; a write to
// TCNTn that blocks the match of that count; input capture with edge select and noise canceler.
//
// Times: with TCNT = 0 at cycle B, count k stands from B + k N to B + (k + 1) N (prescaler N), and
// the match of OCR = k shows at B + (k + 1) N. Not modelled: phase correct modes, external clocks,
// GTCCR.
#pragma once
#include "demo/virtual_bench/chip/event_queue.hpp"
#include "demo/virtual_bench/chip/timer_mode.hpp"
#include <array>
#include <simavr/avr_timer.h>
#include <string>

namespace yokedock::sim {

/// What the timers tell the chip. `timer` is the timer's number, `channel` 0 to 2 for A to C.
class TimerClient {
  public:
    virtual void pin_may_have_changed(unsigned timer, unsigned channel, Cycle at) = 0;
    /// OCFnx went from 0 to 1 (not told while it stays 1: so does the ADC's trigger input).
    virtual void compare_flag_rose(unsigned timer, unsigned channel, Cycle at) = 0;
    /// already_set: TOVn still stood from the overflow before.
    virtual void overflowed(unsigned timer, Cycle at, bool already_set) = 0;
    virtual void not_modelled(const std::string& what) = 0;

  protected:
    ~TimerClient() = default;
};

class TimerModel {
  public:
    /// Takes over the registers of the timer at once. noise_slot is used by timers with a capture
    /// pin.
    TimerModel(avr_t* avr, avr_timer_t* port, EventQueue& queue, Slot slot, Slot noise_slot,
               TimerClient& client);
    TimerModel(const TimerModel&) = delete;
    TimerModel& operator=(const TimerModel&) = delete;

    void reset(); ///< state after a chip reset; the register file has been zeroed by then
    void capture_pin(Cycle at, bool high);

    bool connected(unsigned channel) const; ///< the compare unit, not the port, drives the pin
    bool latch(unsigned channel) const { return latch_[channel]; }
    /// Earliest time this channel can change its latch, as things stand.
    Cycle next_latch_event(unsigned channel) const;
    /// TOP was written in the period before, but not yet in this one: the end of this period is not
    /// known.
    bool top_open() const { return top_written_before_ && !top_written_; }
    std::uint64_t top_missed() const { return top_missed_; }

  private:
    // Registers (timer_registers.cpp).
    void take_registers();
    void write_control(avr_io_addr_t address, std::uint8_t value);
    void write_force(avr_io_addr_t address, std::uint8_t value);
    void write_flags(avr_io_addr_t address, std::uint8_t value);
    void write_enables(avr_io_addr_t address, std::uint8_t value);
    void write_high(avr_io_addr_t address, std::uint8_t value);
    void write_compare(avr_io_addr_t address, std::uint8_t value);
    void write_top(avr_io_addr_t address, std::uint8_t value);
    void write_count(avr_io_addr_t address, std::uint8_t value);
    std::uint8_t read_count(avr_io_addr_t address);
    std::uint8_t read_capture(avr_io_addr_t address);
    std::uint8_t read_high(avr_io_addr_t address);
    std::uint16_t stored(avr_io_addr_t low) const;
    std::uint16_t store_written(avr_io_addr_t low, std::uint8_t value);
    void force(std::uint8_t bits);

    // Counting (timer_model.cpp).
    static void on_event(void* self, Cycle at);
    static void on_noise_canceled(void* self, Cycle at);
    void event(Cycle at);
    void match(unsigned channel, Cycle at);
    void wrap(Cycle at);
    void reconfigure();
    void restart(std::uint32_t count, bool block_equal);
    void top_changed();
    void capture(Cycle at, bool high);
    void schedule();
    void act_on_pin(unsigned channel, bool at_bottom, Cycle at);
    void raise(avr_int_vector_t& vector, Cycle at);
    bool flag(const avr_int_vector_t& vector) const;
    std::uint32_t count(Cycle at) const;
    std::uint32_t top() const;
    Cycle match_time(unsigned channel) const;
    Cycle wrap_time() const;
    unsigned compare_mode(unsigned channel) const;
    bool has(unsigned channel) const { return port_->comp[channel].r_ocr != 0; }

    avr_t* avr_;
    avr_timer_t* port_;
    EventQueue& queue_;
    Slot slot_;
    Slot noise_slot_;
    TimerClient& client_;
    const unsigned number_;
    const bool wide_;
    const std::uint32_t max_;

    TimerMode mode_;
    std::uint32_t divisor_ = 0; ///< 0: the timer stands at standing_
    std::uint32_t standing_ = 0;
    std::int64_t base_ = 0;  ///< cycle at which TCNT was, or would have been, 0
    std::uint32_t wrap_ = 0; ///< last count of this period: TOP, or MAX when TOP was missed
    std::array<std::uint16_t, 3> ocr_{}; ///< what the comparators see
    std::array<bool, 3> armed_{};        ///< the match of this period is still to come
    std::array<bool, 3> latch_{};
    std::uint8_t temp_ = 0;
    std::uint16_t icr_ =
        0; ///< kept here: simavr stores what a read handler returns into the register file
    bool capture_level_ = false;
    bool capture_waiting_level_ = false; ///< level the noise canceler is looking at
    bool top_written_ = false;           ///< in this period
    bool top_written_before_ = false;    ///< in the one before
    std::uint64_t top_missed_ = 0;
};

} // namespace yokedock::sim
