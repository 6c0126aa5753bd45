// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/chip/avr_core.hpp"
#include <cstdlib>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_extint.h>
#include <string>

#ifdef __SANITIZE_ADDRESS__
// libsimavr 1.6 keeps its irq names and hook lists when a chip is destroyed: not ours to free.
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() {
    return "leak:libsimavr";
}
#endif

namespace yokedock::sim {
namespace {

constexpr std::uint8_t kExternalInterrupts = 8;
constexpr avr_io_addr_t kMcusr = 0x54;
constexpr std::uint8_t kPowerOnReset = 0x01;

void ignore_log(avr_t*, const int, const char*, va_list) {}
void do_not_sleep(avr_t*, avr_cycle_count_t) {}

void move_to_front(avr_t* avr, const std::string& kind) {
    for (avr_io_t** link = &avr->io_port; *link != nullptr; link = &(*link)->next) {
        if ((*link)->kind == kind) {
            avr_io_t* found = *link;
            *link = found->next;
            found->next = avr->io_port;
            avr->io_port = found;
            return;
        }
    }
}

} // namespace

void AvrDeleter::operator()(avr_t* avr) const {
    avr_terminate(avr);
    std::free(avr);
}

AvrPointer make_avr(const ElfImage& image) {
    avr_global_logger_set(ignore_log); // what matters comes back as an Error
    avr_t* avr = avr_make_mcu_by_name("atmega2560");
    if (avr == nullptr) {
        return nullptr;
    }
    avr_init(avr);
    avr->frequency = static_cast<std::uint32_t>(kClockHz);
    avr->sleep = do_not_sleep; // simulated time only
    std::vector<std::uint8_t> flash = image.flash;
    avr_loadcode(avr, flash.data(), static_cast<std::uint32_t>(flash.size()), 0);
    avr->codeend = static_cast<std::uint32_t>(flash.size());
    if (!image.eeprom.empty()) {
        write_eeprom(avr, image.eeprom);
    }
    avr->data[kMcusr] = kPowerOnReset;
    move_to_front(avr, "watchdog"); // WDR asks every module in turn until one answers
    for (std::uint8_t pin = 0; pin < kExternalInterrupts; ++pin) {
        avr_extint_set_strict_lvl_trig(avr, pin, 0); // would look at a low pin in every cycle
    }
    return AvrPointer(avr);
}

std::vector<std::uint8_t> read_eeprom(avr_t* avr) {
    std::vector<std::uint8_t> bytes(avr->e2end + 1u);
    avr_eeprom_desc_t all = {bytes.data(), 0, static_cast<std::uint32_t>(bytes.size())};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &all);
    return bytes;
}

void write_eeprom(avr_t* avr, const std::vector<std::uint8_t>& contents) {
    std::vector<std::uint8_t> bytes = contents; // the interface asks for bytes it could change
    bytes.resize(std::min<std::size_t>(bytes.size(), avr->e2end + 1u));
    avr_eeprom_desc_t from = {bytes.data(), 0, static_cast<std::uint32_t>(bytes.size())};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &from);
}

} // namespace yokedock::sim
