// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/chip/chip.hpp"
#include "demo/virtual_bench/chip/adc_model.hpp"
#include "demo/virtual_bench/chip/avr_core.hpp"
#include "demo/virtual_bench/chip/eeprom_busy.hpp"
#include "demo/virtual_bench/chip/elf_image.hpp"
#include "demo/virtual_bench/chip/event_queue.hpp"
#include "demo/virtual_bench/chip/pin_bank.hpp"
#include "demo/virtual_bench/chip/registers.hpp"
#include "demo/virtual_bench/chip/timer_model.hpp"
#include "demo/virtual_bench/chip/uart_model.hpp"
#include <algorithm>
#include <array>
#include <cassert>
#include <deque>
#include <optional>
#include <simavr/sim_avr.h>

namespace yokedock::sim {
namespace {

constexpr std::size_t kFlashBytes = std::size_t{256} * 1024;
constexpr std::size_t kEepromBytes = 4096;
constexpr avr_io_addr_t kGtccr = 0x43;
constexpr std::uint16_t kJumpToSelf = 0xCFFF; // RJMP -1 (AVR instruction set manual)
constexpr unsigned kTimer1OverflowVector = 20;

// Data sheet, "Interrupt Response Time": five cycles with a three-byte program counter, five more
// out of sleep; RETI takes five. simavr itself counts one cycle when it wakes.
constexpr Cycle kEntryCycles = 5;
constexpr Cycle kWakeCycles = 4;
constexpr Cycle kReturnCycles = 5;

// How long simavr may run without a look at its timers. It cuts the run itself for timers known
// beforehand, and the event queue for its own; only a timer that one of simavr's modules sets
// meanwhile (watchdog, EEPROM) can be this late.
constexpr Cycle kUninterruptedCycles = 1000;

struct PendingEdge {
    Cycle at;
    bool high;
};

} // namespace

struct Chip::Impl final : TimerClient, AdcClient, UartClient {
    Impl(AvrPointer made, ChipListener& to)
        : avr(std::move(made)), listener(to), queue(avr.get()), pins(avr.get(), to),
          timer1(avr.get(), timer_port('1'), queue, Slot::kTimer1, Slot::kTimer1, *this),
          timer2(avr.get(), timer_port('2'), queue, Slot::kTimer2, Slot::kTimer2, *this),
          timer3(avr.get(), timer_port('3'), queue, Slot::kTimer3, Slot::kTimer3, *this),
          timer4(avr.get(), timer_port('4'), queue, Slot::kTimer4, Slot::kNoiseCanceler4, *this),
          timer5(avr.get(), timer_port('5'), queue, Slot::kTimer5, Slot::kNoiseCanceler5, *this),
          adc(avr.get(), adc_port(), queue, *this),
          uart(avr.get(), find_peripheral<avr_uart_t>(avr.get(), "uart", '0'), queue, *this),
          eeprom(avr.get(), queue) {
        bind_inputs();
        pins.attach(1, timer1);
        pins.attach(2, timer2);
        pins.attach(3, timer3);
        pins.attach(5, timer5);
        hook_interrupts();
        hook_reset();
        take_write<Impl, &Impl::write_gtccr>(avr.get(), kGtccr, this);
    }

    avr_timer_t* timer_port(char name) {
        return find_peripheral<avr_timer_t>(avr.get(), "timer", name);
    }

    avr_adc_t* adc_port() {
        avr_io_t* io = avr->io_port;
        while (io != nullptr && std::string(io->kind) != "adc") {
            io = io->next;
        }
        return reinterpret_cast<avr_adc_t*>(io);
    }

    void bind_inputs() {
        queue.bind(
            Slot::kAlarm,
            [](void* self, Cycle at) { static_cast<Impl*>(self)->listener.alarm(at); }, this);
        queue.bind(
            Slot::kStop, [](void*, Cycle) {}, nullptr);
        queue.bind(
            Slot::kCapture4,
            [](void* self, Cycle at) { static_cast<Impl*>(self)->edge_due(0, at); }, this);
        queue.bind(
            Slot::kCapture5,
            [](void* self, Cycle at) { static_cast<Impl*>(self)->edge_due(1, at); }, this);
    }

    void hook_interrupts() {
        for (unsigned vector = 1; vector < vectors.size(); ++vector) {
            avr_irq_t* irq = avr_get_interrupt_irq(avr.get(), static_cast<std::uint8_t>(vector));
            if (irq != nullptr) {
                vectors[vector] = {this, static_cast<std::uint8_t>(vector)};
                avr_irq_register_notify(irq + AVR_INT_IRQ_RUNNING, on_running, &vectors[vector]);
            }
        }
    }

    /// A module of our own in simavr's list: its reset is called with every chip reset.
    void hook_reset() {
        reset_module.io.kind = "models";
        reset_module.io.reset = [](avr_io_t* io) {
            reinterpret_cast<ResetModule*>(io)->impl->chip_reset();
        };
        reset_module.impl = this;
        avr_register_io(avr.get(), &reset_module.io);
    }

    // What the models tell.
    void pin_may_have_changed(unsigned timer, unsigned channel, Cycle at) override {
        pins.compare_unit_changed(timer, channel, at);
    }

    void compare_flag_rose(unsigned timer, unsigned channel, Cycle at) override {
        if (timer == 1 && channel == 1) {
            adc.trigger(AdcTrigger::kTimer1CompareB, at);
        }
    }

    void overflowed(unsigned timer, Cycle at, bool already_set) override {
        if (timer != 1) {
            return;
        }
        if (already_set) {
            statistics.overflows_merged += 1;
        } else {
            overflow_at = at;
            adc.trigger(AdcTrigger::kTimer1Overflow, at);
        }
    }

    int adc_input(std::uint8_t channel, Cycle at) override {
        return std::clamp(listener.adc_sample(channel, at), 0, 1023);
    }

    void byte_sent(std::uint8_t byte, Cycle at) override { listener.serial_byte(byte, at); }

    void not_modelled(const std::string& what) override {
        if (fault.empty()) {
            fault = "the firmware uses " + what + ", which the simulated chip does not have";
        }
    }

    void write_gtccr(avr_io_addr_t address, std::uint8_t value) {
        avr->data[address] = 0; // the reset bits clear themselves
        if (value != 0) {
            not_modelled("the prescaler reset or synchronisation mode (GTCCR)");
        }
    }

    void edge_due(std::size_t input, Cycle at) {
        std::deque<PendingEdge>& waiting = edges[input];
        const bool high = waiting.front().high;
        waiting.pop_front();
        pins.set_input('L', static_cast<std::uint8_t>(input), high); // ICP4 is PL0, ICP5 is PL1
        (input == 0 ? timer4 : timer5).capture_pin(at, high);
        if (!waiting.empty()) {
            queue.set(capture_slot(input), std::max(waiting.front().at, at));
        }
    }

    static Slot capture_slot(std::size_t input) {
        return input == 0 ? Slot::kCapture4 : Slot::kCapture5;
    }

    struct VectorHook {
        Impl* impl = nullptr;
        std::uint8_t vector = 0;
    };

    static void on_running(avr_irq_t*, std::uint32_t running, void* hook) {
        const auto& vector = *static_cast<VectorHook*>(hook);
        if (running != 0) {
            vector.impl->interrupt_entered(vector.vector);
        } else {
            vector.impl->interrupt_returned(vector.vector);
        }
    }

    void interrupt_entered(std::uint8_t vector) {
        const Cycle cost = kEntryCycles + (was_asleep ? kWakeCycles : 0);
        avr->cycle += cost;
        avr->run_cycle_count = avr->run_cycle_count > cost ? avr->run_cycle_count - cost : 1;
        if (vector == kTimer1OverflowVector) {
            served_overflow_at = overflow_at;
            statistics.longest_overflow_to_entry =
                std::max(statistics.longest_overflow_to_entry, avr->cycle - overflow_at);
        }
    }

    void interrupt_returned(std::uint8_t vector) {
        if (vector == kTimer1OverflowVector) {
            statistics.longest_overflow_to_return =
                std::max(statistics.longest_overflow_to_return,
                         avr->cycle + kReturnCycles - served_overflow_at);
        } else if (uart.owns(vector)) {
            uart.interrupt_returned();
        }
    }

    struct ResetModule {
        avr_io_t io{}; // first: simavr hands out its address
        Impl* impl = nullptr;
    };

    void put_flash_word(avr_flashaddr_t address, std::uint16_t word) {
        avr->flash[address] = static_cast<std::uint8_t>(word);
        avr->flash[address + 1] = static_cast<std::uint8_t>(word >> 8);
    }

    void hang() {
        if (hung_at) {
            return;
        }
        hung_at = avr->pc;
        hung_word = static_cast<std::uint16_t>(avr->flash[avr->pc] | avr->flash[avr->pc + 1] << 8);
        put_flash_word(avr->pc, kJumpToSelf);
    }

    void chip_reset() {
        if (hung_at) {
            put_flash_word(*hung_at, hung_word);
            hung_at.reset();
        }
        queue.reset();
        for (TimerModel* model : {&timer1, &timer2, &timer3, &timer4, &timer5}) {
            model->reset();
        }
        adc.reset();
        uart.reset();
        for (std::size_t input = 0; input < edges.size(); ++input) {
            if (!edges[input].empty()) {
                queue.set(capture_slot(input), edges[input].front().at);
            }
        }
        pins.reset();
        statistics.resets += 1;
        listener.chip_reset(avr->cycle);
    }

    /// simavr sets its allowance back to one instruction at every turn; this makes it run up to the
    /// next event.
    void allow_run() {
        const avr_cycle_timer_slot_t* next = avr->cycle_timers.timer;
        Cycle left = kUninterruptedCycles;
        if (next != nullptr) {
            left = next->when > avr->cycle ? next->when - avr->cycle : 1;
        }
        avr->run_cycle_count = std::min(left, kUninterruptedCycles);
    }

    Status run_until(Cycle target) {
        queue.set(Slot::kStop, target);
        while (avr->cycle < target) {
            const Cycle before = avr->cycle;
            was_asleep = avr->state == cpu_Sleeping;
            allow_run();
            avr->run(avr.get());
            if (avr->state == cpu_Sleeping) {
                statistics.asleep_cycles += avr->cycle - before;
            }
            if (avr->state != cpu_Running && avr->state != cpu_Sleeping) {
                return stopped();
            }
            if (!fault.empty()) {
                return Error{ErrorKind::kInternal, "simulated chip stopped at cycle " +
                                                       std::to_string(avr->cycle) + ": " + fault};
            }
        }
        return Done{};
    }

    Error stopped() const {
        const bool done = avr->state == cpu_Done;
        return {ErrorKind::kInternal,
                "simulated chip stopped at cycle " + std::to_string(avr->cycle) +
                    ": the firmware " +
                    (done ? "sleeps with interrupts off" : "crashed (bad instruction or jump)") +
                    ", program counter " + std::to_string(avr->pc) +
                    "; the firmware image is broken or not made for the ATmega2560"};
    }

    AvrPointer avr;
    ChipListener& listener;
    std::string fault;
    ChipStatistics statistics;
    Cycle overflow_at = 0;
    Cycle served_overflow_at = 0;
    bool was_asleep = false;
    std::optional<avr_flashaddr_t> hung_at;
    std::uint16_t hung_word = 0; ///< what stood there
    std::array<VectorHook, 58> vectors{};
    std::array<std::deque<PendingEdge>, 2> edges;
    ResetModule reset_module;
    EventQueue queue;
    PinBank pins;
    TimerModel timer1;
    TimerModel timer2;
    TimerModel timer3;
    TimerModel timer4;
    TimerModel timer5;
    AdcModel adc;
    UartModel uart;
    EepromBusy eeprom;
};

Chip::Chip(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Chip::~Chip() = default;

Result<std::unique_ptr<Chip>> Chip::load(const std::string& elf_path, ChipListener& listener) {
    Result<ElfImage> image = read_elf_image(elf_path, kFlashBytes, kEepromBytes);
    if (!image) {
        return image.error();
    }
    AvrPointer avr = make_avr(image.value());
    if (avr == nullptr) {
        return Error{ErrorKind::kInternal,
                     "the simulator library does not know the ATmega2560; install "
                     "libsimavr 1.6"};
    }
    return std::unique_ptr<Chip>(new Chip(std::make_unique<Impl>(std::move(avr), listener)));
}

Status Chip::run_until(Cycle target) {
    return impl_->run_until(target);
}
Cycle Chip::now() const {
    return impl_->avr->cycle;
}
bool Chip::output(Output output) const {
    return impl_->pins.output(output);
}

Cycle Chip::next_output_event(Output output) const {
    return impl_->pins.next_event(output);
}

bool Chip::period_open() const {
    return impl_->timer1.top_open();
}

void Chip::set_alarm(Cycle at) {
    impl_->queue.set(Slot::kAlarm, at);
}

void Chip::capture_edge(CaptureInput input, Cycle at, bool high) {
    const auto index = static_cast<std::size_t>(input);
    impl_->edges[index].push_back({at, high});
    if (impl_->edges[index].size() == 1) {
        impl_->queue.set(Impl::capture_slot(index), at);
    }
}

void Chip::set_pin(char port, std::uint8_t bit, bool high) {
    impl_->pins.set_input(port, bit, high);
}

void Chip::send_serial(const std::uint8_t* bytes, std::size_t count) {
    impl_->uart.queue_received(bytes, count);
}

std::size_t Chip::serial_backlog() const {
    return impl_->uart.backlog();
}

ChipStatistics Chip::statistics() const {
    ChipStatistics all = impl_->statistics;
    all.top_missed = impl_->timer1.top_missed();
    all.adc_conversions = impl_->adc.conversions();
    all.adc_triggers_ignored = impl_->adc.triggers_ignored();
    all.adc_results_lost = impl_->adc.results_lost();
    all.serial_received = impl_->uart.received();
    all.serial_sent = impl_->uart.sent();
    all.serial_overruns = impl_->uart.overruns();
    all.serial_overwritten = impl_->uart.overwritten();
    return all;
}

void Chip::clear_longest() {
    impl_->statistics.longest_overflow_to_entry = 0;
    impl_->statistics.longest_overflow_to_return = 0;
}

void Chip::set_ram_byte(std::uint16_t address, std::uint8_t value) {
    assert(address >= 0x200 && address <= 0x21FF);
    impl_->avr->data[address] = value;
}

bool Chip::interrupts_enabled() const {
    return impl_->avr->sreg[S_I] != 0;
}

void Chip::hang() {
    impl_->hang();
}

std::vector<std::uint8_t> Chip::eeprom() const {
    return read_eeprom(impl_->avr.get());
}

void Chip::set_eeprom(const std::vector<std::uint8_t>& contents) {
    write_eeprom(impl_->avr.get(), contents);
}

std::uint8_t Chip::data_byte(std::uint16_t address) const {
    return impl_->avr->data[address];
}

} // namespace yokedock::sim
