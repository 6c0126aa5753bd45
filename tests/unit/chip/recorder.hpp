// SPDX-License-Identifier: MIT
// A listener that writes everything down, and the chip test images by name.
#pragma once
#include "demo/virtual_bench/chip/chip.hpp"
#include <catch2/catch.hpp>
#include <functional>
#include <string>
#include <vector>

namespace yokedock::sim {

inline std::string chip_image(const std::string& name) {
    return std::string(YOKEDOCK_CHIP_IMAGES) + "/chip_" + name + ".elf";
}

struct OutputChange {
    Output output;
    Cycle at;
    bool high;
    bool operator==(const OutputChange&) const = default;
};

struct PortChange {
    char port;
    Cycle at;
    std::uint8_t driven_high;
};

struct Sample {
    std::uint8_t channel;
    Cycle at;
    int code;
};

struct Recorder : ChipListener {
    void output_changed(Output output, Cycle at, bool high) override {
        in_order(at);
        outputs.push_back({output, at, high});
    }
    void port_changed(char port, Cycle at, std::uint8_t driven_high) override {
        ports.push_back({port, at, driven_high});
    }
    int adc_sample(std::uint8_t channel, Cycle at) override {
        in_order(at);
        // Any code that tells one sample from the next: a walk through all 1024.
        const int code = static_cast<int>((samples.size() * 389 + channel) % 1024);
        samples.push_back({channel, at, code});
        return code;
    }
    void serial_byte(std::uint8_t byte, Cycle at) override {
        in_order(at);
        bytes.push_back(byte);
        byte_times.push_back(at);
    }
    void alarm(Cycle at) override {
        in_order(at);
        alarms.push_back(at);
        if (on_alarm) {
            on_alarm(at);
        }
    }
    void chip_reset(Cycle at) override { resets.push_back(at); }

    std::vector<OutputChange> of(Output output) const {
        std::vector<OutputChange> found;
        for (const OutputChange& change : outputs) {
            if (change.output == output) {
                found.push_back(change);
            }
        }
        return found;
    }

    std::vector<OutputChange> outputs;
    std::vector<PortChange> ports;
    std::vector<Sample> samples;
    std::vector<std::uint8_t> bytes;
    std::vector<Cycle> byte_times;
    std::vector<Cycle> alarms;
    std::vector<Cycle> resets;
    std::function<void(Cycle)> on_alarm;
    bool ordered = true;

  private:
    void in_order(Cycle at) {
        ordered = ordered && at >= last_;
        last_ = at;
    }
    Cycle last_ = 0;
};

inline std::unique_ptr<Chip> load_chip(const std::string& image, ChipListener& listener) {
    auto chip = Chip::load(chip_image(image), listener);
    if (!chip) {
        FAIL(chip.error().text);
    }
    return std::move(chip).value();
}

inline void run_to(Chip& chip, Cycle target) {
    const Status status = chip.run_until(target);
    if (!status) {
        FAIL(status.error().text);
    }
}

} // namespace yokedock::sim
