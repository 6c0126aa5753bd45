// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/chip/pin_bank.hpp"
#include "demo/virtual_bench/chip/registers.hpp"

namespace yokedock::sim {
namespace {

struct OutputPin {
    unsigned timer;
    unsigned channel;
    char port;
    std::uint8_t bit;
};
/// In the order of Output (data sheet, "Alternate Port Functions").
constexpr std::array<OutputPin, kOutputCount> kOutputPins = {{{1, 0, 'B', 5},
                                                              {1, 1, 'B', 6},
                                                              {1, 2, 'B', 7},
                                                              {3, 0, 'E', 3},
                                                              {3, 1, 'E', 4},
                                                              {3, 2, 'E', 5},
                                                              {2, 0, 'B', 4},
                                                              {2, 1, 'H', 6},
                                                              {5, 0, 'L', 3},
                                                              {5, 1, 'L', 4}}};

constexpr std::size_t port_index(char port) {
    return static_cast<std::size_t>(port - 'A');
}

} // namespace

PinBank::PinBank(avr_t* avr, ChipListener& listener) : avr_(avr), listener_(listener) {
    for (std::size_t i = 0; i < ports_.size(); ++i) {
        Port& port = ports_[i];
        port.bank = this;
        port.name = static_cast<char>('A' + i);
        port.port = find_peripheral<avr_ioport_t>(avr, "port", port.name);
        if (port.port != nullptr) {
            avr_irq_register_notify(port.port->io.irq + IOPORT_IRQ_REG_PORT, on_levels, &port);
            avr_irq_register_notify(port.port->io.irq + IOPORT_IRQ_DIRECTION_ALL, on_directions,
                                    &port);
        }
    }
}

void PinBank::compare_unit_changed(unsigned timer_number, unsigned channel, Cycle at) {
    for (std::size_t i = 0; i < kOutputCount; ++i) {
        if (kOutputPins[i].timer == timer_number && kOutputPins[i].channel == channel) {
            update_output(i, at);
        }
    }
}

Cycle PinBank::next_event(Output output) const {
    const OutputPin& pin = kOutputPins[static_cast<std::size_t>(output)];
    return timers_[pin.timer]->next_latch_event(pin.channel);
}

void PinBank::set_input(char port, std::uint8_t bit, bool high) {
    Port& target = ports_[port_index(port)];
    const auto mask = static_cast<std::uint8_t>(1u << bit);
    auto& external = target.port->external; // holds against the pull-up of the port bit
    external.pull_mask = static_cast<std::uint8_t>(external.pull_mask | mask);
    external.pull_value =
        static_cast<std::uint8_t>(high ? external.pull_value | mask : external.pull_value & ~mask);
    avr_raise_irq(target.port->io.irq + bit, high ? 1 : 0);
}

void PinBank::reset() {
    for (Port& port : ports_) {
        if (port.port != nullptr) {
            avr_->data[port.port->r_pin] =
                port.port->external.pull_value; // the world does not know of the reset
            // Through simavr's irqs, which stay silent when a value comes twice.
            avr_raise_irq(port.port->io.irq + IOPORT_IRQ_REG_PORT, 0);
            avr_raise_irq(port.port->io.irq + IOPORT_IRQ_DIRECTION_ALL, 0);
        }
    }
}

void PinBank::on_levels(avr_irq_t*, std::uint32_t value, void* port) {
    auto& written = *static_cast<Port*>(port);
    written.levels = static_cast<std::uint8_t>(value);
    written.bank->port_written(written);
}

void PinBank::on_directions(avr_irq_t*, std::uint32_t value, void* port) {
    auto& written = *static_cast<Port*>(port);
    written.directions = static_cast<std::uint8_t>(value);
    written.bank->port_written(written);
}

void PinBank::port_written(Port& port) {
    for (std::size_t i = 0; i < kOutputCount; ++i) {
        if (kOutputPins[i].port == port.name) {
            update_output(i, avr_->cycle);
        }
    }
    const auto driven = static_cast<std::uint8_t>(port.levels & port.directions);
    if (driven != port.told) {
        port.told = driven;
        listener_.port_changed(port.name, avr_->cycle, driven);
    }
}

void PinBank::update_output(std::size_t index, Cycle at) {
    const OutputPin& pin = kOutputPins[index];
    const Port& port = ports_[port_index(pin.port)];
    const TimerModel& timer = *timers_[pin.timer];
    const bool level = timer.connected(pin.channel) ? timer.latch(pin.channel)
                                                    : ((port.levels >> pin.bit) & 1) != 0;
    const bool high = ((port.directions >> pin.bit) & 1) != 0 && level;
    if (high != outputs_[index]) {
        outputs_[index] = high;
        listener_.output_changed(static_cast<Output>(index), at, high);
    }
}

} // namespace yokedock::sim
