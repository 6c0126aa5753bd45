// SPDX-License-Identifier: MIT
// Any bytes as a firmware image: an error of a file, or memories no larger than the chip's.
#include "demo/virtual_bench/chip/elf_image.hpp"
#include "tests/fuzz/promise.hpp"

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    using yokedock::test::promise;
    constexpr std::size_t kFlash = 0x40000; // ATmega2560: 256 KB flash, 4 KB EEPROM
    constexpr std::size_t kEeprom = 0x1000;
    const auto image = yokedock::sim::parse_elf_image({reinterpret_cast<const char*>(data), size},
                                                      "fuzz.elf", kFlash, kEeprom);
    if (!image) {
        promise(image.error().kind == yokedock::ErrorKind::kFile, "a bad file is a file error");
        return 0;
    }
    promise(!image.value().flash.empty() && image.value().flash.size() <= kFlash &&
                image.value().eeprom.size() <= kEeprom,
            "an image has a program and fits the chip");
    return 0;
}
