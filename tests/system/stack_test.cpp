// SPDX-License-Identifier: MIT
// How deep the stack gets: what lies between the variables and the stack is painted, the firmware
// is kept as busy as it can be, and what is still painted was never used.
#include "shared/sync/standards.hpp"
#include "tests/system/busy_bench.hpp"
#include <cstring>
#include <elf.h>
#include <fstream>
#include <iostream>
#include <iterator>

using namespace yokedock;
using namespace yokedock::test;

namespace {

constexpr std::uint16_t kStackTop = 0x21FF; // ATmega2560 data sheet, RAMEND
constexpr std::uint8_t kPaint = 0xA5;

template <class T> T at(const std::vector<char>& file, std::size_t offset) {
    T value;
    REQUIRE(offset + sizeof(T) <= file.size());
    std::memcpy(&value, file.data() + offset, sizeof(T));
    return value;
}

/// Value of the linker's symbol `_end`: the first free byte after the variables.
std::uint16_t end_of_variables() {
    std::ifstream in(YOKEDOCK_FIRMWARE_ELF, std::ios::binary);
    const std::vector<char> file{std::istreambuf_iterator<char>(in), {}};
    const auto header = at<Elf32_Ehdr>(file, 0);
    for (unsigned i = 0; i < header.e_shnum; ++i) {
        const auto table = at<Elf32_Shdr>(file, header.e_shoff + i * sizeof(Elf32_Shdr));
        if (table.sh_type != SHT_SYMTAB) {
            continue;
        }
        const auto names =
            at<Elf32_Shdr>(file, header.e_shoff + table.sh_link * sizeof(Elf32_Shdr));
        for (std::size_t k = 0; k < table.sh_size / sizeof(Elf32_Sym); ++k) {
            const auto symbol = at<Elf32_Sym>(file, table.sh_offset + k * sizeof(Elf32_Sym));
            if (std::strcmp(file.data() + names.sh_offset + symbol.st_name, "_end") == 0) {
                return static_cast<std::uint16_t>(symbol.st_value); // 0x800000 + data address
            }
        }
    }
    FAIL("the firmware image has no symbol _end");
    return 0;
}

unsigned stack_pointer(const sim::Chip& chip) {
    return chip.data_byte(0x5D) + 256u * chip.data_byte(0x5E);
}

} // namespace

TEST_CASE("the stack keeps clear of the variables with everything busy") {
    const std::uint16_t bottom = end_of_variables();
    FirmwareRig rig;
    rig.keep_edges = false;
    const unsigned now = stack_pointer(rig.chip());
    REQUIRE(now > bottom + 100u);
    for (std::uint16_t a = bottom; a < now; ++a) {
        rig.chip().set_ram_byte(a, kPaint);
    }
    for (const std::uint8_t line_mode : {std::uint8_t{1}, std::uint8_t{3}}) {
        for (const sync::Standard& s : sync::kStandards) {
            const auto plan = rig.ask<wire::requests::set_sync>(s.settings);
            rig.ask<wire::requests::sync_output>({1});
            BusyBench busy(rig, plan);
            busy.line_mode = line_mode;
            busy.start();
            rig.run_for(8000000);
            busy.stop();
        }
    }
    // The longest requests and answers, whose fields stand on the stack; a capture runs meanwhile.
    wire::CaptureSettings capture;
    capture.entries = 1;
    capture.schedule[0] = {0, 500, 0, 1};
    wire::Calibration calibration;
    calibration.serial = 1;
    for (auto& gain : calibration.gain) {
        gain = 1000000;
    }
    for (int i = 0; i < 5; ++i) {
        rig.ask<wire::requests::start_capture>(capture);
        rig.ask<wire::requests::read_calibration>();
        rig.ask<wire::requests::write_calibration>(calibration);
        while (rig.ask<wire::requests::store_state>().left != 0) {
        }
    }
    std::uint16_t lowest = bottom;
    while (lowest < kStackTop && rig.chip().data_byte(lowest) == kPaint) {
        ++lowest;
    }
    const unsigned reserve = kStackTop + 1u - bottom;
    const unsigned left = static_cast<unsigned>(lowest) - bottom;
    std::cout << "stack: " << reserve
              << " bytes between the variables and the end of RAM, deepest use " << reserve - left
              << ", never used " << left << "\n";
    // What was seen is not the deepest there can be: it hangs on when interrupts fall. By count,
    // one of each handler at once, three of reception, is some 330 bytes above the main loop's own
    // use, which alone is 200 or more of what is seen here; so 468 may become some 60 more. Twice
    // that, and a little, must be left.
    CHECK(left >= 150);
}
