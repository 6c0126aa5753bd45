// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/chip/elf_image.hpp"
#include <algorithm>
#include <cstring>
#include <elf.h>
#include <filesystem>
#include <fstream>
#include <iterator>

namespace yokedock::sim {
namespace {

// avr-ld's address spaces: program memory, data memory, EEPROM.
constexpr std::uint32_t kDataOffset = 0x800000;
constexpr std::uint32_t kEepromOffset = 0x810000;
constexpr std::uint32_t kEepromEnd = 0x820000;

Error not_usable(const std::string& path, const std::string& what) {
    return {ErrorKind::kFile, "cannot load firmware image " + path + ": " + what +
                                  "; expected an ELF file for the ATmega2560 as the build makes it "
                                  "(build the firmware, or give its path with --firmware)"};
}

template <class T> bool read_at(std::span<const char> file, std::size_t offset, T& out) {
    if (offset > file.size() || file.size() - offset < sizeof(T)) {
        return false;
    }
    std::memcpy(&out, file.data() + offset, sizeof(T));
    return true;
}

/// Copies a segment; false when it does not fit.
bool place(std::vector<std::uint8_t>& memory, std::size_t limit, std::uint32_t address,
           const char* from, std::size_t size) {
    if (address > limit || size > limit - address) {
        return false;
    }
    memory.resize(std::max(memory.size(), address + size), 0xFF);
    std::memcpy(memory.data() + address, from, size);
    return true;
}

} // namespace

Result<ElfImage> read_elf_image(const std::string& path, std::size_t flash_bytes,
                                std::size_t eeprom_bytes) {
    std::error_code error;
    if (std::filesystem::exists(path, error) && !std::filesystem::is_regular_file(path, error)) {
        return not_usable(path, "it is not a plain file");
    }
    std::ifstream stream(path, std::ios::binary);
    if (!stream) {
        return not_usable(path, "it cannot be opened");
    }
    const std::vector<char> file{std::istreambuf_iterator<char>(stream),
                                 std::istreambuf_iterator<char>()};
    return parse_elf_image(file, path, flash_bytes, eeprom_bytes);
}

Result<ElfImage> parse_elf_image(std::span<const char> file, const std::string& path,
                                 std::size_t flash_bytes, std::size_t eeprom_bytes) {
    Elf32_Ehdr head{};
    if (!read_at(file, 0, head) || std::memcmp(head.e_ident, ELFMAG, SELFMAG) != 0) {
        return not_usable(path,
                          "it is not an ELF file (" + std::to_string(file.size()) + " bytes)");
    }
    if (head.e_ident[EI_CLASS] != ELFCLASS32 || head.e_machine != EM_AVR) {
        return not_usable(path,
                          "it is for machine " + std::to_string(head.e_machine) + ", not for AVR");
    }
    ElfImage image;
    for (unsigned i = 0; i < head.e_phnum; ++i) {
        Elf32_Phdr segment{};
        if (!read_at(file, head.e_phoff + i * std::size_t{head.e_phentsize}, segment)) {
            return not_usable(path, "it is cut short");
        }
        if (segment.p_type != PT_LOAD || segment.p_filesz == 0) {
            continue;
        }
        if (segment.p_offset > file.size() || file.size() - segment.p_offset < segment.p_filesz) {
            return not_usable(path, "it is cut short");
        }
        const char* from = file.data() + segment.p_offset;
        const std::uint32_t address = segment.p_paddr;
        bool fits = true;
        if (address < kDataOffset) {
            fits = place(image.flash, flash_bytes, address, from, segment.p_filesz);
        } else if (address >= kEepromOffset && address < kEepromEnd) {
            fits =
                place(image.eeprom, eeprom_bytes, address - kEepromOffset, from, segment.p_filesz);
        } // fuses, lock bits and signature do not matter to the simulation
        if (!fits) {
            return not_usable(path, "a segment of " + std::to_string(segment.p_filesz) +
                                        " bytes at " + std::to_string(address) +
                                        " does not fit the chip");
        }
    }
    if (image.flash.empty()) {
        return not_usable(path, "it holds no program");
    }
    return image;
}

} // namespace yokedock::sim
