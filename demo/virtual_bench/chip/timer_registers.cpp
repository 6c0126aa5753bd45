// SPDX-License-Identifier: MIT
// The timer's registers as the program sees them.
#include "demo/virtual_bench/chip/registers.hpp"
#include "demo/virtual_bench/chip/timer_model.hpp"

namespace yokedock::sim {
namespace {
constexpr std::uint8_t kForceBits8 = 0xC0; ///< FOC2A, FOC2B: in TCCR2B
} // namespace

void TimerModel::take_registers() {
    const avr_io_addr_t control_a = port_->wgm[0].reg;
    const avr_io_addr_t control_b = port_->cs[0].reg;
    take_write<TimerModel, &TimerModel::write_control>(avr_, control_a, this);
    take_write<TimerModel, &TimerModel::write_control>(avr_, control_b, this);
    take_write<TimerModel, &TimerModel::write_flags>(avr_, port_->overflow.raised.reg, this);
    take_write<TimerModel, &TimerModel::write_enables>(avr_, port_->overflow.enable.reg, this);
    take_write<TimerModel, &TimerModel::write_count>(avr_, port_->r_tcnt, this);
    take_read<TimerModel, &TimerModel::read_count>(avr_, port_->r_tcnt, this);
    for (unsigned channel = 0; channel < 3; ++channel) {
        if (has(channel)) {
            take_write<TimerModel, &TimerModel::write_compare>(avr_, port_->comp[channel].r_ocr,
                                                               this);
        }
    }
    if (!wide_) {
        return;
    }
    take_write<TimerModel, &TimerModel::write_force>(
        avr_, static_cast<avr_io_addr_t>(control_b + 1), this);
    take_write<TimerModel, &TimerModel::write_top>(avr_, port_->r_icr, this);
    take_read<TimerModel, &TimerModel::read_capture>(avr_, port_->r_icr, this);
    take_read<TimerModel, &TimerModel::read_high>(avr_, port_->r_icrh, this);
    take_read<TimerModel, &TimerModel::read_high>(avr_, port_->r_tcnth, this);
    take_write<TimerModel, &TimerModel::write_high>(avr_, port_->r_icrh, this);
    take_write<TimerModel, &TimerModel::write_high>(avr_, port_->r_tcnth, this);
    for (unsigned channel = 0; channel < 3; ++channel) {
        if (has(channel)) {
            take_write<TimerModel, &TimerModel::write_high>(avr_, port_->comp[channel].r_ocrh,
                                                            this);
        }
    }
}

std::uint16_t TimerModel::stored(avr_io_addr_t low) const {
    const unsigned high = wide_ ? static_cast<unsigned>(avr_->data[low + 1]) << 8 : 0u;
    return static_cast<std::uint16_t>(avr_->data[low] | high);
}

std::uint16_t TimerModel::store_written(avr_io_addr_t low, std::uint8_t value) {
    avr_->data[low] = value;
    if (wide_) {
        avr_->data[low + 1] = temp_;
    }
    return stored(low);
}

void TimerModel::write_control(avr_io_addr_t address, std::uint8_t value) {
    std::uint8_t strobes = 0;
    if (!wide_ && address == port_->cs[0].reg) {
        strobes = value & kForceBits8;
        value = static_cast<std::uint8_t>(value & ~kForceBits8);
    }
    avr_->data[address] = value;
    reconfigure();
    force(strobes);
}

void TimerModel::write_force(avr_io_addr_t address, std::uint8_t value) {
    avr_->data[address] = 0; // strobes read as 0
    force(value);
}

void TimerModel::force(std::uint8_t bits) {
    if (mode_.buffered()) {
        return; // FOC is for the modes without PWM
    }
    for (unsigned channel = 0; channel < 3; ++channel) {
        if (has(channel) && (bits & (0x80u >> channel)) != 0) {
            act_on_pin(channel, false, avr_->cycle);
        }
    }
}

void TimerModel::write_flags(avr_io_addr_t, std::uint8_t value) {
    const std::uint8_t ones = flags_written(avr_, value);
    for (avr_int_vector_t* vector :
         {&port_->overflow, &port_->comp[0].interrupt, &port_->comp[1].interrupt,
          &port_->comp[2].interrupt, &port_->icr}) {
        if (vector->vector != 0 && ((ones >> vector->raised.bit) & 1) != 0 && flag(*vector)) {
            avr_clear_interrupt(avr_, vector);
        }
    }
}

void TimerModel::write_enables(avr_io_addr_t address, std::uint8_t value) {
    avr_->data[address] = value;
    // A flag that stands interrupts as soon as it is enabled.
    for (avr_int_vector_t* vector :
         {&port_->overflow, &port_->comp[0].interrupt, &port_->comp[1].interrupt,
          &port_->comp[2].interrupt, &port_->icr}) {
        if (vector->vector != 0 && flag(*vector)) {
            raise(*vector, avr_->cycle);
        }
    }
}

void TimerModel::write_high(avr_io_addr_t, std::uint8_t value) {
    temp_ = value;
}

std::uint8_t TimerModel::read_high(avr_io_addr_t) {
    return temp_;
}

void TimerModel::write_compare(avr_io_addr_t address, std::uint8_t value) {
    const std::uint16_t written = store_written(address, value);
    if (mode_.buffered()) {
        return;
    }
    const std::uint32_t count_now = count(avr_->cycle);
    for (unsigned channel = 0; channel < 3; ++channel) {
        if (address == port_->comp[channel].r_ocr) {
            ocr_[channel] = written;
            armed_[channel] = written >= count_now;
            if (channel == 0 && mode_.top == TopSource::kOcrA) {
                top_changed();
            }
        }
    }
    schedule();
}

void TimerModel::write_top(avr_io_addr_t address, std::uint8_t value) {
    if (mode_.top != TopSource::kIcr) {
        return; // ICRn takes writes only in the modes that use it as TOP
    }
    icr_ = store_written(address, value);
    top_written_ = true;
    top_changed();
}

void TimerModel::write_count(avr_io_addr_t address, std::uint8_t value) {
    restart(store_written(address, value), true);
}

std::uint8_t TimerModel::read_count(avr_io_addr_t) {
    const std::uint32_t now = count(avr_->cycle);
    temp_ = static_cast<std::uint8_t>(now >> 8);
    return static_cast<std::uint8_t>(now);
}

std::uint8_t TimerModel::read_capture(avr_io_addr_t) {
    temp_ = static_cast<std::uint8_t>(icr_ >> 8);
    return static_cast<std::uint8_t>(icr_);
}

} // namespace yokedock::sim
