// SPDX-License-Identifier: MIT
// Reads what avr-g++ links: flash and EEPROM contents of a 32-bit little-endian AVR ELF file.
#pragma once
#include "host/result.hpp"
#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace yokedock::sim {

struct ElfImage {
    std::vector<std::uint8_t> flash;  ///< from address 0, gaps 0xFF
    std::vector<std::uint8_t> eeprom; ///< from address 0, gaps 0xFF; empty when the file has none
};

/// Errors (kFile): not readable, not an AVR ELF file, cut short, or bigger than the memories given.
Result<ElfImage> read_elf_image(const std::string& path, std::size_t flash_bytes,
                                std::size_t eeprom_bytes);

/// The same from the file's bytes; path is only for messages.
Result<ElfImage> parse_elf_image(std::span<const char> file, const std::string& path,
                                 std::size_t flash_bytes, std::size_t eeprom_bytes);

} // namespace yokedock::sim
