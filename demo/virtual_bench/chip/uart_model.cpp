// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/chip/uart_model.hpp"
#include "demo/virtual_bench/chip/registers.hpp"

namespace yokedock::sim {
namespace {
// UCSR0A
constexpr std::uint8_t kReceived = 0x80;
constexpr std::uint8_t kSent = 0x40;
constexpr std::uint8_t kDataEmpty = 0x20;
constexpr std::uint8_t kDoubleSpeed = 0x02;
constexpr std::uint8_t kWritable = 0x03; ///< U2X and MPCM
// UCSR0B
constexpr std::uint8_t kReceiverOn = 0x10;
constexpr std::uint8_t kTransmitterOn = 0x08;
constexpr std::uint8_t kNineBits = 0x04;
// UCSR0C for 8N1, asynchronous
constexpr std::uint8_t kFormat8N1 = 0x06;

constexpr std::size_t kReceiveBuffer = 2;
constexpr Cycle kBitsPerByte = 10;
} // namespace

UartModel::UartModel(avr_t* avr, avr_uart_t* port, EventQueue& queue, UartClient& client)
    : avr_(avr), port_(port), queue_(queue), client_(client) {
    queue_.bind(Slot::kSerialOut, on_sent, this);
    queue_.bind(Slot::kSerialIn, on_received, this);
    take_write<UartModel, &UartModel::write_data>(avr_, port_->r_udr, this);
    take_read<UartModel, &UartModel::read_data>(avr_, port_->r_udr, this);
    take_write<UartModel, &UartModel::write_status>(avr_, port_->r_ucsra, this);
    take_write<UartModel, &UartModel::write_control>(avr_, port_->r_ucsrb, this);
    take_write<UartModel, &UartModel::write_format>(avr_, port_->r_ucsrc, this);
    avr_->io[AVR_DATA_TO_IO(port_->r_ucsra)].r.c = nullptr; // flags live in the register file
    avr_->io[AVR_DATA_TO_IO(port_->ubrrl.reg)].w.c = nullptr;
    avr_->io[AVR_DATA_TO_IO(port_->ubrrh.reg)].w.c = nullptr;
    reset();
}

void UartModel::reset() {
    if (receiving_ && !line_.empty()) {
        line_.pop_front();
    }
    received_buffer_.clear();
    receiving_ = held_ = sending_ = buffer_full_ = false;
    avr_->data[port_->r_ucsra] = kDataEmpty;
    avr_->data[port_->r_ucsrb] = 0;
    avr_->data[port_->r_ucsrc] = kFormat8N1;
}

bool UartModel::owns(std::uint8_t vector) const {
    return vector == port_->rxc.vector || vector == port_->udrc.vector ||
           vector == port_->txc.vector;
}

Cycle UartModel::byte_cycles() const {
    const unsigned divisor =
        (avr_->data[port_->ubrrl.reg] | ((avr_->data[port_->ubrrh.reg] & 0x0Fu) << 8)) + 1u;
    const unsigned samples = (avr_->data[port_->r_ucsra] & kDoubleSpeed) != 0 ? 8u : 16u;
    return kBitsPerByte * divisor * samples;
}

void UartModel::set_flag(std::uint8_t flag, bool on) {
    auto& status = avr_->data[port_->r_ucsra];
    status = static_cast<std::uint8_t>(on ? status | flag : status & ~flag);
}

void UartModel::update_interrupts() {
    const std::uint8_t status = avr_->data[port_->r_ucsra];
    follow_level(avr_, port_->rxc, (status & kReceived) != 0);
    follow_level(avr_, port_->udrc, (status & kDataEmpty) != 0);
}

void UartModel::interrupt_returned() {
    update_interrupts();
}

// ---- registers
// -------------------------------------------------------------------------------------

void UartModel::write_status(avr_io_addr_t address, std::uint8_t value) {
    const std::uint8_t before = avr_->data[address];
    if ((value & kSent) != 0 && (before & kSent) != 0) {
        avr_clear_interrupt(avr_, &port_->txc); // write one to clear
    }
    avr_->data[address] =
        static_cast<std::uint8_t>((avr_->data[address] & ~kWritable) | (value & kWritable));
}

void UartModel::write_control(avr_io_addr_t address, std::uint8_t value) {
    avr_->data[address] = value;
    if ((value & kNineBits) != 0) {
        client_.not_modelled("USART0 with nine data bits");
    }
    if ((value & kReceiverOn) == 0) { // disabling the receiver flushes it
        received_buffer_.clear();
        set_flag(kReceived, false);
        queue_.set(Slot::kSerialIn, kNeverCycle);
        receiving_ = held_ = false;
    } else {
        start_receiving(avr_->cycle);
    }
    if ((avr_->data[port_->r_ucsra] & kSent) != 0 && !port_->txc.pending) {
        avr_raise_interrupt(avr_, &port_->txc);
    }
    update_interrupts();
}

void UartModel::write_format(avr_io_addr_t address, std::uint8_t value) {
    avr_->data[address] = value;
    if (value != kFormat8N1) {
        client_.not_modelled("USART0 with a format other than 8N1");
    }
}

void UartModel::write_data(avr_io_addr_t, std::uint8_t value) {
    if (!enabled(kTransmitterOn)) {
        return;
    }
    if (buffer_full_) {
        ++overwritten_;
    } else if (!sending_) {
        start_sending(value, avr_->cycle);
    } else {
        buffer_ = value;
        buffer_full_ = true;
        set_flag(kDataEmpty, false);
    }
    update_interrupts();
}

std::uint8_t UartModel::read_data(avr_io_addr_t) {
    if (received_buffer_.empty()) {
        return 0;
    }
    const std::uint8_t byte = received_buffer_.front();
    received_buffer_.pop_front();
    if (held_) {
        received_one(avr_->cycle);
    }
    set_flag(kReceived, !received_buffer_.empty());
    update_interrupts();
    return byte;
}

// ---- the line
// --------------------------------------------------------------------------------------

void UartModel::start_sending(std::uint8_t byte, Cycle at) {
    on_wire_ = byte;
    sending_ = true;
    queue_.set(Slot::kSerialOut, at + byte_cycles());
}

void UartModel::on_sent(void* self, Cycle at) {
    static_cast<UartModel*>(self)->sent_one(at);
}

void UartModel::sent_one(Cycle at) {
    ++sent_;
    sending_ = false;
    client_.byte_sent(on_wire_, at);
    if (buffer_full_) {
        buffer_full_ = false;
        start_sending(buffer_, at);
        set_flag(kDataEmpty, true);
        update_interrupts();
    } else {
        avr_raise_interrupt(avr_, &port_->txc);
    }
}

void UartModel::queue_received(const std::uint8_t* bytes, std::size_t count) {
    line_.insert(line_.end(), bytes, bytes + count);
    start_receiving(avr_->cycle);
}

void UartModel::start_receiving(Cycle at) {
    if (receiving_ || line_.empty() || !enabled(kReceiverOn)) {
        return;
    }
    receiving_ = true;
    queue_.set(Slot::kSerialIn, at + byte_cycles());
}

void UartModel::on_received(void* self, Cycle at) {
    static_cast<UartModel*>(self)->received_one(at);
}

void UartModel::received_one(Cycle at) {
    if (received_buffer_.size() >= kReceiveBuffer) {
        held_ = true; // the shift register keeps it; on silicon the next start bit would overrun it
        if (line_.size() > 1) {
            ++overruns_;
        }
        return;
    }
    held_ = receiving_ = false;
    received_buffer_.push_back(line_.front());
    line_.pop_front();
    ++received_;
    set_flag(kReceived, true);
    start_receiving(at);
    update_interrupts();
}

} // namespace yokedock::sim
