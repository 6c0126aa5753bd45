// SPDX-License-Identifier: MIT
// The chip's pins: what the ports and the compare units drive, and the levels the world puts on
// inputs.
#pragma once
#include "demo/virtual_bench/chip/timer_model.hpp"
#include <array>
#include <simavr/avr_ioport.h>

namespace yokedock::sim {

class PinBank {
  public:
    /// Watches the port registers from now on. The compare outputs follow the timers given to
    /// attach.
    PinBank(avr_t* avr, ChipListener& listener);
    PinBank(const PinBank&) = delete;
    PinBank& operator=(const PinBank&) = delete;

    void attach(unsigned timer_number, const TimerModel& timer) { timers_[timer_number] = &timer; }
    void compare_unit_changed(unsigned timer_number, unsigned channel, Cycle at);
    bool output(Output output) const { return outputs_[static_cast<std::size_t>(output)]; }
    /// See Chip::next_output_event.
    Cycle next_event(Output output) const;

    void set_input(char port, std::uint8_t bit, bool high);

    /// After a chip reset, when the register file has been zeroed: reports all pins low, keeps the
    /// input levels.
    void reset();

  private:
    struct Port {
        PinBank* bank = nullptr;
        avr_ioport_t* port = nullptr; ///< nullptr: no such port
        char name = '?';
        std::uint8_t levels = 0;
        std::uint8_t directions = 0;
        std::uint8_t told = 0; ///< driven high, as last reported
    };

    static void on_levels(avr_irq_t* irq, std::uint32_t value, void* port);
    static void on_directions(avr_irq_t* irq, std::uint32_t value, void* port);
    void port_written(Port& port);
    void update_output(std::size_t index, Cycle at);

    avr_t* avr_;
    ChipListener& listener_;
    std::array<Port, 12> ports_; ///< 'A' to 'L'
    std::array<bool, kOutputCount> outputs_{};
    std::array<const TimerModel*, 6> timers_{};
};

} // namespace yokedock::sim
