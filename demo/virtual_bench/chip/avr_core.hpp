// SPDX-License-Identifier: MIT
// libsimavr's ATmega2560, set up to run by simulated time alone: no sleeping, no printing.
#pragma once
#include "demo/virtual_bench/chip/chip.hpp"
#include "demo/virtual_bench/chip/elf_image.hpp"
#include <memory>
#include <simavr/sim_avr.h>
#include <vector>

namespace yokedock::sim {

struct AvrDeleter {
    void operator()(avr_t* avr) const;
};
using AvrPointer = std::unique_ptr<avr_t, AvrDeleter>;

/// Powered up with this image, before the first instruction; nullptr when the library has no such
/// chip.
AvrPointer make_avr(const ElfImage& image);

std::vector<std::uint8_t> read_eeprom(avr_t* avr);
/// From address 0; what is beyond the end of the EEPROM is left out.
void write_eeprom(avr_t* avr, const std::vector<std::uint8_t>& contents);

} // namespace yokedock::sim
