// SPDX-License-Identifier: MIT
// Runs the codec image in stock simavr, without any of the virtual bench's models, and reads its
// serial line.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <string>

namespace {

void keep_byte(avr_irq_t*, std::uint32_t value, void* text) {
    static_cast<std::string*>(text)->push_back(static_cast<char>(value));
}
void do_not_sleep(avr_t*, avr_cycle_count_t) {}

} // namespace

TEST_CASE("the codec checks pass on the device, where int has 16 bits") {
    elf_firmware_t image{};
    REQUIRE(elf_read_firmware(YOKEDOCK_CODEC_ELF, &image) == 0);
    avr_t* avr = avr_make_mcu_by_name("atmega2560");
    REQUIRE(avr != nullptr);
    avr_init(avr);
    avr->frequency = 16000000;
    avr->sleep = do_not_sleep;
    avr_load_firmware(avr, &image);
    avr->frequency = 16000000;
    std::uint32_t flags = 0; // no echo on the terminal, no slowing down
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    std::string text;
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT),
                            keep_byte, &text);
    // The limit only ends a run that hangs.
    while (avr->cycle < 200000000 && text.find("done") == std::string::npos) {
        avr_run(avr);
    }
    for (int i = 0; i < 20000; ++i) {
        avr_run(avr);
    }
    avr_terminate(avr);
    CHECK(text.rfind("done ", 0) == 0); // nothing before it: no line number of a failed check
    const std::size_t at = text.find("done ");
    REQUIRE(at != std::string::npos);
    CHECK(std::atoi(text.c_str() + at + 5) > 900);
}
