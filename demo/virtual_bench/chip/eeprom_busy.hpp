// SPDX-License-Identifier: MIT
// The time an EEPROM byte takes. simavr stores it at once and clears EEPE at once; on the chip EEPE
// stays set for 3.3 ms (ATmega2560 data sheet, table of EEPROM programming times: erase and write,
// 26368 cycles of the 8 MHz RC oscillator).
#pragma once
#include "demo/virtual_bench/chip/event_queue.hpp"
#include "demo/virtual_bench/chip/registers.hpp"

namespace yokedock::sim {

class EepromBusy {
  public:
    EepromBusy(avr_t* avr, EventQueue& queue) : avr_(avr), queue_(queue) {
        const auto& io = avr->io[AVR_DATA_TO_IO(kEecr)];
        simavr_write_ = io.w.c;
        simavr_ = io.w.param;
        take_write<EepromBusy, &EepromBusy::write_control>(avr, kEecr, this);
        queue.bind(
            Slot::kEeprom, [](void* self, Cycle) { static_cast<EepromBusy*>(self)->done(); }, this);
    }

    static constexpr Cycle kWriteCycles = 52736; ///< 26368 of 8 MHz

  private:
    static constexpr avr_io_addr_t kEecr = 0x3F;
    static constexpr std::uint8_t kEepe = 0x02;
    static constexpr std::uint8_t kEempe = 0x04;

    void write_control(avr_io_addr_t address, std::uint8_t value) {
        const std::uint8_t before = avr_->data[kEecr];
        const bool busy = (before & kEepe) != 0;
        if (busy) { // neither a read nor a write begins, and EEPE is not cleared by software
            avr_->data[kEecr] = static_cast<std::uint8_t>((value & ~1u) | kEepe);
            return;
        }
        simavr_write_(avr_, address, value, simavr_);
        if ((before & kEempe) != 0 && (value & kEepe) != 0) {
            avr_->data[kEecr] |= kEepe;
            queue_.set(Slot::kEeprom, avr_->cycle + kWriteCycles);
        }
    }

    void done() { avr_->data[kEecr] = static_cast<std::uint8_t>(avr_->data[kEecr] & ~kEepe); }

    avr_t* avr_;
    EventQueue& queue_;
    avr_io_write_t simavr_write_ = nullptr;
    void* simavr_ = nullptr;
};

} // namespace yokedock::sim
