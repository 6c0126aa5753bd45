// SPDX-License-Identifier: MIT
#include "tests/unit/bench/guarded_device.hpp"
#include "host/bench/channel_codes.hpp"
#pragma GCC diagnostic push
// The firmware is C++14, where counting volatiles is fine; the warning has two names.
#ifdef __clang__
#pragma GCC diagnostic ignored "-Wdeprecated-volatile"
#else
#pragma GCC diagnostic ignored "-Wvolatile"
#endif
#include "firmware/core/device.hpp"
#include "firmware/ports/host/fake_hardware.hpp"
#pragma GCC diagnostic pop
#include <cmath>
#include <utility>

namespace yokedock::test {
namespace {

constexpr std::uint32_t kMsTicks = 16000;

std::uint16_t code(ChannelId id, double value) {
    return static_cast<std::uint16_t>(std::lround(bench::code_of(id, value)));
}

} // namespace

BoardState healthy_board(std::uint8_t relays, double ms_on) {
    const bool on = (relays & firmware::kRelaySupply) != 0;
    const bool bypassed = (relays & firmware::kRelayBypass) != 0;
    const double start_v = 24 - kSoftStartOhm * 0.3; // behind the resistor
    const double rail = on ? (bypassed ? 24 : start_v * (1 - std::exp(-ms_on / 100))) : 0;
    const bool runs = rail > 12;
    const double swing = runs ? 0.35 * std::sin(ms_on * 1.1) : 0;
    BoardState s;
    s.code = {code(ChannelId::v_yoke_a, swing),        code(ChannelId::h_yoke_a, 4 * swing),
              code(ChannelId::supply_v, rail),         code(ChannelId::supply_a, runs ? 0.3 : 0),
              code(ChannelId::v_out_v, runs ? 12 + 14 * swing : 0), code(ChannelId::h_peak_v, runs ? 200 : 0),
              code(ChannelId::heatsink_c, 30),         code(ChannelId::ref_v, 2.5)};
    s.field_retrace = s.line_retrace = runs;
    return s;
}

struct GuardedDevice::Parts {
    firmware::FakeHardware hardware;
    firmware::Device<firmware::FakeHardware> device{hardware};
};

GuardedDevice::GuardedDevice(BoardModel model)
    : board(std::move(model)), parts_(std::make_unique<Parts>()) {
    parts_->hardware.time = 1000000;
    parts_->device.begin();
    parts_->hardware.code = board(0, 0).code;
}
GuardedDevice::~GuardedDevice() = default;

std::uint8_t GuardedDevice::relays() const {
    return parts_->hardware.relays;
}

void GuardedDevice::pass(double ms) {
    firmware::FakeHardware& hw = parts_->hardware;
    for (; ms > 0; --ms) {
        hw.time += kMsTicks;
        const bool on = (hw.relays & firmware::kRelaySupply) != 0;
        ms_on_ = on ? ms_on_ + 1 : 0;
        const BoardState s = board(hw.relays, ms_on_);
        hw.code = s.code;
        hw.stop = s.stop;
        if (s.stop) {
            hw.press_stop();
        }
        hw.current = s.over_current;
        if (s.over_current) {
            hw.rise_current();
        }
        hw.edges[0] += s.field_retrace ? 1 : 0;
        hw.edges[1] += s.line_retrace ? 15 : 0;
        for (std::uint8_t channel = 0; channel < kChannelCount && hw.sampling; ++channel) {
            hw.sample(static_cast<ChannelId>(channel));
            const std::uint32_t time = hw.time + 100u * channel;
            hw.pool().push_sample(static_cast<std::uint16_t>(time), s.code[channel], channel,
                                  [time](std::uint16_t) { return time; });
        }
        while (parts_->device.poll()) {
        }
        ever_ = static_cast<std::uint8_t>(ever_ | hw.relays);
    }
}

std::vector<std::vector<std::uint8_t>> GuardedDevice::receive(link::Bytes bytes) {
    if (!cable) {
        pass(4);
        return {};
    }
    firmware::FakeHardware& hw = parts_->hardware;
    hw.input.insert(hw.input.end(), bytes.begin(), bytes.end());
    pass(4);
    return std::exchange(hw.sent, {});
}

} // namespace yokedock::test
