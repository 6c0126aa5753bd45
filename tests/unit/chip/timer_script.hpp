// SPDX-License-Identifier: MIT
// Writes timer scenarios as lists of register writes for the chip_script image.
#pragma once
#include "tests/unit/chip/recorder.hpp"

namespace yokedock::sim {

constexpr std::uint16_t kAtOnce = 0xFFFF;

/// Addresses in data space (ATmega2560 data sheet, "Register Summary").
namespace reg {
constexpr std::uint16_t kDdrB = 0x24, kPortB = 0x25, kDdrE = 0x2D, kDdrH = 0x101;
constexpr std::uint16_t kTccr1A = 0x80, kTccr1B = 0x81, kTccr1C = 0x82, kTcnt1 = 0x84, kIcr1 = 0x86;
constexpr std::uint16_t kOcr1A = 0x88, kOcr1B = 0x8A, kOcr1C = 0x8C;
constexpr std::uint16_t kTccr3A = 0x90, kTccr3B = 0x91, kTcnt3 = 0x94, kOcr3A = 0x98, kOcr3B = 0x9A;
constexpr std::uint16_t kTccr2A = 0xB0, kTccr2B = 0xB1, kTcnt2 = 0xB2, kOcr2A = 0xB3, kOcr2B = 0xB4;
} // namespace reg

class Script {
  public:
    /// At once, or when Timer1 has overflowed `overflow` times and TCNT1 >= count (some 20 cycles
    /// later at most).
    Script& write(std::uint16_t address, std::uint8_t value, std::uint16_t overflow = kAtOnce,
                  std::uint16_t count = 0) {
        for (const unsigned word : {unsigned{overflow}, unsigned{count}, unsigned{address}}) {
            bytes_.push_back(static_cast<std::uint8_t>(word));
            bytes_.push_back(static_cast<std::uint8_t>(word >> 8));
        }
        bytes_.push_back(value);
        ++steps_;
        return *this;
    }
    /// A 16-bit register: high byte, then low byte with nothing in between: a read of TCNT1 there
    /// would change the shared TEMP register.
    Script& write16(std::uint16_t address, std::uint16_t value, std::uint16_t overflow = kAtOnce,
                    std::uint16_t count = 0) {
        write(static_cast<std::uint16_t>(address + 1), static_cast<std::uint8_t>(value >> 8),
              overflow, count);
        return write(address, static_cast<std::uint8_t>(value));
    }
    /// Timer1 in mode 14 with this compare mode bits in TCCR1A, TOP 999, from count 0.
    Script& start_timer1(std::uint8_t compare_bits) {
        write(reg::kTccr1A, static_cast<std::uint8_t>(compare_bits | 0x02));
        write(reg::kTccr1B, 0x18);
        write16(reg::kIcr1, 999);
        return write(reg::kTccr1B, 0x19);
    }

    /// Plays the script on a new chip and runs it for that many cycles after the last byte was
    /// sent.
    std::unique_ptr<Chip> play(Recorder& recorder, Cycle cycles) const {
        auto chip = load_chip("script", recorder);
        std::vector<std::uint8_t> message{steps_};
        message.insert(message.end(), bytes_.begin(), bytes_.end());
        chip->send_serial(message.data(), message.size());
        run_to(*chip, 176 * message.size() + cycles);
        return chip;
    }

  private:
    std::vector<std::uint8_t> bytes_;
    std::uint8_t steps_ = 0;
};

} // namespace yokedock::sim
