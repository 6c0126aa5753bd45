// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/chip/adc_model.hpp"
#include "demo/virtual_bench/chip/registers.hpp"

namespace yokedock::sim {
namespace {
// ADCSRA
constexpr std::uint8_t kEnable = 0x80;
constexpr std::uint8_t kStart = 0x40;
constexpr std::uint8_t kAutoTrigger = 0x20;
constexpr std::uint8_t kFlag = 0x10;
constexpr std::uint8_t kPrescaler = 0x07;
// ADCSRB, ADMUX
constexpr std::uint8_t kMux5 = 0x08;
constexpr std::uint8_t kTriggerSource = 0x07;
constexpr std::uint8_t kLeftAdjust = 0x20;
constexpr std::uint8_t kMux = 0x1F;

/// Half ADC clocks from the start to the held sample and to the result.
struct Timing {
    Cycle sample_halves;
    Cycle result_halves;
};
constexpr Timing kFirst = {27, 50};
constexpr Timing kStarted = {3, 26};
constexpr Timing kTriggered = {4, 27};
} // namespace

AdcModel::AdcModel(avr_t* avr, avr_adc_t* port, EventQueue& queue, AdcClient& client)
    : avr_(avr), port_(port), queue_(queue), client_(client) {
    queue_.bind(Slot::kAdcSample, on_sample, this);
    queue_.bind(Slot::kAdcDone, on_done, this);
    take_write<AdcModel, &AdcModel::write_control_a>(avr_, port_->r_adcsra, this);
    take_read<AdcModel, &AdcModel::read_low>(avr_, port_->r_adcl, this);
    take_read<AdcModel, &AdcModel::read_high>(avr_, port_->r_adch, this);
    for (const avr_io_addr_t plain : {port_->r_adcsrb, port_->r_admux}) {
        avr_->io[AVR_DATA_TO_IO(plain)].w.c =
            nullptr; // a plain register: read when a conversion starts
    }
}

void AdcModel::reset() {
    converting_ = false;
    first_ = true;
    locked_ = false;
    result_ = 0;
}

AdcTrigger AdcModel::trigger_source() const {
    return static_cast<AdcTrigger>(avr_->data[port_->r_adcsrb] & kTriggerSource);
}

void AdcModel::write_control_a(avr_io_addr_t address, std::uint8_t value) {
    const std::uint8_t before = control_a();
    std::uint8_t stored = static_cast<std::uint8_t>(value & ~(kFlag | kStart));
    if ((value & kEnable) == 0) {
        queue_.set(Slot::kAdcSample, kNeverCycle); // a running conversion is given up
        queue_.set(Slot::kAdcDone, kNeverCycle);
        converting_ = false;
        first_ = true;
    }
    if (converting_) {
        stored |= kStart;
    }
    if ((value & kFlag) != 0) {
        avr_->data[address] = before;
        avr_clear_interrupt(avr_, &port_->adc); // write one to clear
    } else {
        stored |= before & kFlag;
    }
    avr_->data[address] = stored;
    if ((value & kEnable) != 0 && (value & kStart) != 0 && !converting_) {
        start(avr_->cycle, false);
    }
    if ((stored & kFlag) != 0) {
        follow_level(avr_, port_->adc, true); // enabled while the flag stands
    }
}

void AdcModel::start(Cycle at, bool triggered) {
    const Cycle exponent = control_a() & kPrescaler;
    const Cycle half_clock = exponent == 0 ? 1 : Cycle{1} << (exponent - 1);
    const Timing timing = first_ ? kFirst : triggered ? kTriggered : kStarted;
    const unsigned mux = avr_->data[port_->r_admux] & kMux;
    if (mux > 7 || (avr_->data[port_->r_adcsrb] & kMux5) != 0) {
        client_.not_modelled("ADC input MUX " + std::to_string(mux) + " (only ADC0 to ADC7 are)");
    }
    channel_ = static_cast<std::uint8_t>(mux & 7);
    converting_ = true;
    first_ = false;
    avr_->data[port_->r_adcsra] |= kStart;
    queue_.set(Slot::kAdcSample, at + timing.sample_halves * half_clock);
    queue_.set(Slot::kAdcDone, at + timing.result_halves * half_clock);
}

void AdcModel::trigger(AdcTrigger source, Cycle at) {
    const std::uint8_t control = control_a();
    if ((control & kEnable) == 0 || (control & kAutoTrigger) == 0 || source != trigger_source()) {
        return;
    }
    if (converting_) {
        ++triggers_ignored_;
        return;
    }
    start(at, true);
}

void AdcModel::on_sample(void* self, Cycle at) {
    auto& adc = *static_cast<AdcModel*>(self);
    adc.held_ = adc.client_.adc_input(adc.channel_, at);
}

void AdcModel::on_done(void* self, Cycle at) {
    static_cast<AdcModel*>(self)->done(at);
}

void AdcModel::done(Cycle at) {
    converting_ = false;
    ++conversions_;
    avr_->data[port_->r_adcsra] &= static_cast<std::uint8_t>(~kStart);
    if (locked_) {
        ++results_lost_;
    } else {
        const bool left = (avr_->data[port_->r_admux] & kLeftAdjust) != 0;
        result_ = static_cast<std::uint16_t>(left ? held_ << 6 : held_);
    }
    avr_raise_interrupt(avr_, &port_->adc);
    if ((control_a() & kAutoTrigger) != 0 && trigger_source() == AdcTrigger::kFreeRunning) {
        start(at, false);
    }
}

std::uint8_t AdcModel::read_low(avr_io_addr_t) {
    locked_ = true;
    return static_cast<std::uint8_t>(result_);
}

std::uint8_t AdcModel::read_high(avr_io_addr_t) {
    locked_ = false;
    return static_cast<std::uint8_t>(result_ >> 8);
}

} // namespace yokedock::sim
