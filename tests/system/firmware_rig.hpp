// SPDX-License-Identifier: MIT
// The real firmware image in the simulated chip, with a host on its serial line and every output
// edge kept. Times are CPU cycles since power-on.
#pragma once
#include "demo/virtual_bench/chip/chip.hpp"
#include "shared/wire/frame.hpp"
#include <catch2/catch.hpp>
#include <functional>
#include <optional>
#include <vector>

namespace yokedock::test {

using sim::Cycle;

struct Edge {
    Cycle at;
    bool high;
};

struct AnswerFrame {
    wire::MessageKind kind;
    std::uint8_t number;
    std::vector<std::uint8_t> payload;
};

class FirmwareRig final : public sim::ChipListener {
  public:
    /// eeprom: what an earlier life of the chip left there.
    explicit FirmwareRig(const std::vector<std::uint8_t>& eeprom = {}) {
        auto loaded = sim::Chip::load(YOKEDOCK_FIRMWARE_ELF, *this);
        if (!loaded.ok()) {
            FAIL(loaded.error().text);
        }
        chip_ = std::move(loaded).value();
        if (!eeprom.empty()) {
            chip_->set_eeprom(eeprom);
        }
        chip_->set_pin('D', 0, false); // no over-current
        chip_->set_pin('D', 1, false); // stop loop closed
        run_for(100000);
    }

    sim::Chip& chip() { return *chip_; }

    void run_for(Cycle cycles) {
        const Status status = chip_->run_until(chip_->now() + cycles);
        if (!status.ok()) {
            FAIL(status.error().text);
        }
    }

    /// Edges of an output since the last clear_edges.
    const std::vector<Edge>& edges(sim::Output output) const {
        return edges_[static_cast<std::size_t>(output)];
    }
    void clear_edges() {
        for (auto& list : edges_) {
            list.clear();
        }
    }
    bool keep_edges = true;

    /// Sends a request without waiting.
    template <class Request> void send(wire::MessageKind kind, Request request) {
        std::uint8_t payload[wire::kMaxPayloadBytes];
        const std::size_t size = wire::write_fields(request, payload, sizeof(payload));
        send_payload(kind, payload, size);
    }

    void send_payload(wire::MessageKind kind, const std::uint8_t* payload, std::size_t size) {
        std::uint8_t scratch[wire::kMaxFrameBytes];
        std::uint8_t out[wire::kMaxEncodedBytes];
        const std::size_t bytes = wire::encode_frame(kind, ++number_, payload, size, scratch, out);
        chip_->send_serial(out, bytes);
    }

    /// One request of the table and its answer; FAILs when refused or silent.
    template <class Kind> typename Kind::Answer ask(const typename Kind::Request& request = {}) {
        answers_.clear();
        send(Kind::kind, request);
        for (int i = 0; i < 1000 && answers_.empty(); ++i) {
            run_for(1600);
        }
        REQUIRE(!answers_.empty());
        const AnswerFrame& frame = answers_.back();
        REQUIRE(static_cast<int>(frame.kind) == static_cast<int>(wire::answer_to(Kind::kind)));
        typename Kind::Answer answer;
        REQUIRE(wire::read_fields(answer, frame.payload.data(), frame.payload.size()));
        return answer;
    }

    /// The same for a request that may be refused: the answer's frame, whatever it is.
    template <class Request> AnswerFrame try_ask(wire::MessageKind kind, const Request& request) {
        answers_.clear();
        send(kind, request);
        for (int i = 0; i < 1000 && answers_.empty(); ++i) {
            run_for(1600);
        }
        REQUIRE(!answers_.empty());
        return answers_.back();
    }

    // Hooks a test may fill.
    std::function<void(char, Cycle, std::uint8_t)> on_port; ///< which pins are driven high
    std::function<void(sim::Output, Cycle, bool)> on_output;
    std::function<int(std::uint8_t, Cycle)> on_sample;
    std::function<void(const AnswerFrame&)> on_frame; ///< every frame from the device
    std::function<void(Cycle)> on_alarm;
    std::function<void(Cycle)> on_reset; ///< the watchdog bit

    std::uint64_t bytes_from_device = 0;
    std::uint64_t frames_bad = 0;

    void output_changed(sim::Output output, Cycle at, bool high) override {
        if (keep_edges) {
            edges_[static_cast<std::size_t>(output)].push_back({at, high});
        }
        if (on_output) {
            on_output(output, at, high);
        }
    }
    void port_changed(char port, Cycle at, std::uint8_t driven_high) override {
        if (on_port) {
            on_port(port, at, driven_high);
        }
    }
    int adc_sample(std::uint8_t channel, Cycle at) override {
        return on_sample ? on_sample(channel, at) : 512;
    }
    void chip_reset(Cycle at) override {
        if (on_reset) {
            on_reset(at);
        }
    }
    void alarm(Cycle at) override {
        if (on_alarm) {
            on_alarm(at);
        }
    }
    void serial_byte(std::uint8_t byte, Cycle) override {
        ++bytes_from_device;
        const wire::DecodeEvent event = decoder_.push(byte);
        if (event == wire::DecodeEvent::kBadFrame) {
            ++frames_bad;
        }
        if (event == wire::DecodeEvent::kFrame) {
            const wire::Frame& frame = decoder_.frame();
            AnswerFrame copy{frame.kind, frame.number, {frame.payload, frame.payload + frame.size}};
            if (on_frame) {
                on_frame(copy);
            }
            if (frame.kind != wire::MessageKind::block) {
                answers_.push_back(std::move(copy));
            }
        }
    }

  private:
    std::unique_ptr<sim::Chip> chip_;
    std::vector<Edge> edges_[sim::kOutputCount];
    std::vector<AnswerFrame> answers_;
    wire::FrameDecoder<> decoder_;
    std::uint8_t number_ = 0;
};

} // namespace yokedock::test
