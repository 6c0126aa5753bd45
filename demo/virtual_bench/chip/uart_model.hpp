// SPDX-License-Identifier: MIT
// USART0 of the ATmega2560 in place of simavr's (which counts 11 bits per byte and adds its own
// buffers): 8N1, 10 bits per byte, one byte of transmit buffer, two of receive buffer.
//
// A byte never gets lost on the way in: where silicon's receiver would be overrun, the next byte is
// held back until the program has read one, and `overruns` counts it. That makes a busy firmware
// visible without making a simulated link fail in ways that depend on it.
#pragma once
#include "demo/virtual_bench/chip/event_queue.hpp"
#include <deque>
#include <simavr/avr_uart.h>
#include <string>

namespace yokedock::sim {

class UartClient {
  public:
    virtual void byte_sent(std::uint8_t byte, Cycle at) = 0;
    virtual void not_modelled(const std::string& what) = 0;

  protected:
    ~UartClient() = default;
};

class UartModel {
  public:
    UartModel(avr_t* avr, avr_uart_t* port, EventQueue& queue, UartClient& client);
    UartModel(const UartModel&) = delete;
    UartModel& operator=(const UartModel&) = delete;

    void
    reset(); ///< bytes not yet on the wire stay queued; the one on the wire is lost, as in life
    void queue_received(const std::uint8_t* bytes, std::size_t count);
    void interrupt_returned(); ///< a handler of this USART ended: its condition may still hold
    std::size_t backlog() const { return line_.size(); }
    bool owns(std::uint8_t vector) const;

    std::uint64_t received() const { return received_; }
    std::uint64_t sent() const { return sent_; }
    std::uint64_t overruns() const { return overruns_; }
    std::uint64_t overwritten() const { return overwritten_; }

  private:
    void write_data(avr_io_addr_t address, std::uint8_t value);
    std::uint8_t read_data(avr_io_addr_t address);
    void write_status(avr_io_addr_t address, std::uint8_t value);
    void write_control(avr_io_addr_t address, std::uint8_t value);
    void write_format(avr_io_addr_t address, std::uint8_t value);
    void set_flag(std::uint8_t flag, bool on);
    void update_interrupts();
    void start_sending(std::uint8_t byte, Cycle at);
    void start_receiving(Cycle at);
    static void on_sent(void* self, Cycle at);
    static void on_received(void* self, Cycle at);
    void sent_one(Cycle at);
    void received_one(Cycle at);
    Cycle byte_cycles() const;
    bool enabled(std::uint8_t bit) const { return (avr_->data[port_->r_ucsrb] & bit) != 0; }

    avr_t* avr_;
    avr_uart_t* port_;
    EventQueue& queue_;
    UartClient& client_;
    std::deque<std::uint8_t> line_; ///< sent by the other end, not yet in the receive buffer
    std::deque<std::uint8_t> received_buffer_; ///< at most kReceiveBuffer
    bool receiving_ = false;                   ///< the front of line_ is on the wire
    bool held_ = false;                        ///< ... and has arrived, but the buffer is full
    bool sending_ = false;
    bool buffer_full_ = false;
    std::uint8_t on_wire_ = 0;
    std::uint8_t buffer_ = 0;
    std::uint64_t received_ = 0;
    std::uint64_t sent_ = 0;
    std::uint64_t overruns_ = 0;
    std::uint64_t overwritten_ = 0;
};

} // namespace yokedock::sim
