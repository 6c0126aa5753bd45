// SPDX-License-Identifier: MIT
// The firmware image with a board on its relays: rail, currents and retrace pulses are there while
// K1 is closed. Codes only; the physics of a board is the virtual bench's.
#pragma once
#include "firmware/core/bench_state.hpp"
#include "shared/channels.hpp"
#include "shared/sync/standards.hpp"
#include "tests/system/firmware_rig.hpp"
#include <array>

namespace yokedock::test {

class GuardedRig {
  public:
    FirmwareRig rig;
    std::uint8_t relays = 0;
    Cycle supply_off_at = 0; ///< K1 went low last
    bool drive = false;      ///< the step drive is on
    bool swing = true;       ///< load currents move
    bool field_pulses = true;
    bool line_pulses = true;
    std::array<int, 8> live{512, 512, 400, 300, 400, 500, 600, 512}; ///< codes while K1 is closed
    std::vector<std::string> broken; ///< rules of the relays that did not hold

    GuardedRig() {
        rig.keep_edges = false;
        rig.on_port = [this](char port, Cycle at, std::uint8_t driven) {
            if (port == 'A') {
                relays_changed(at, driven);
            }
        };
        rig.on_sample = [this](std::uint8_t channel, Cycle) { return code(channel); };
        rig.on_output = [this](sim::Output output, Cycle at, bool high) {
            if (output == sim::Output::kOc5a || output == sim::Output::kOc5b) {
                drive = high;
                rule(!high || relays == firmware::kRelayStep, "drive on, and not K5 alone");
            }
            if (!on() || high) {
                return;
            }
            if (output == sim::Output::kOc1c && line_pulses) {
                pulse(sim::CaptureInput::kIcp4, at + 30, 176);
            } else if (output == sim::Output::kOc3a && field_pulses) {
                pulse(sim::CaptureInput::kIcp5, at + 50, 9000);
            }
        };
    }

    bool on() const { return (relays & firmware::kRelaySupply) != 0; }

    /// Codes of an imagined board: rail 400, current 300, output 100 to 900.
    static wire::GuardLimits limits() {
        wire::GuardLimits l;
        for (int i = 0; i < wire::kGuardChannels; ++i) {
            l.high[i] = l.start_high[i] = kAdcCodes - 1;
        }
        const auto at = [](ChannelId id) { return static_cast<std::size_t>(id); };
        l.high[at(ChannelId::v_yoke_a)] = 800;
        l.high[at(ChannelId::h_yoke_a)] = 800;
        l.low[at(ChannelId::supply_v)] = 350;
        l.high[at(ChannelId::supply_v)] = l.start_high[at(ChannelId::supply_v)] = 450;
        l.high[at(ChannelId::supply_a)] = 500;
        l.start_high[at(ChannelId::supply_a)] = 400;
        l.low[at(ChannelId::v_out_v)] = 50;
        l.high[at(ChannelId::v_out_v)] = 950;
        l.high[at(ChannelId::h_peak_v)] = 700;
        l.low[at(ChannelId::heatsink_c)] = 200;
        l.high[at(ChannelId::heatsink_c)] = 1000;
        l.span[0] = l.span[1] = 100;
        l.rail_up = 360;
        l.rail_off = 20;
        l.reference_low = 505;
        l.reference_high = 519;
        l.start_ms = 300;
        l.settle_ms = 50;
        l.retrace_ms = 25;
        l.strikes = 1;
        l.loads = 3;
        l.watch = 3;
        return l;
    }

    void sync(const wire::SyncSettings& settings) {
        rig.ask<wire::requests::set_sync>(settings);
        rig.ask<wire::requests::sync_output>({1});
    }

    void to_live(const wire::GuardLimits& l) {
        using namespace wire::requests;
        rig.ask<power_off>();
        ms(600);
        rig.ask<set_guard>(l);
        rig.ask<power_on>({static_cast<std::uint8_t>(wire::BenchState::checked)});
        ms(35);
        rig.ask<power_on>({static_cast<std::uint8_t>(wire::BenchState::starting)});
        ms(70);
        rig.ask<power_on>({static_cast<std::uint8_t>(wire::BenchState::live)});
        ms(100);
        const auto state = rig.ask<power>();
        CAPTURE(static_cast<int>(state.cause));
        REQUIRE(state.state == static_cast<std::uint8_t>(wire::BenchState::live));
        REQUIRE(on());
    }

    void ms(Cycle milliseconds) { rig.run_for(milliseconds * 16000); }

  private:
    void rule(bool good, const char* what) {
        if (!good) {
            broken.emplace_back(what);
        }
    }

    int code(std::uint8_t channel) {
        if (!on()) {
            return channel == static_cast<std::uint8_t>(ChannelId::ref_v) ? 512 : 0;
        }
        if (channel < 2 && swing && live[channel] == 512) {
            ++turn_;
            return 512 + 100 * (turn_ % 3 - 1);
        }
        return live[channel];
    }

    void pulse(sim::CaptureInput input, Cycle at, Cycle width) {
        rig.chip().capture_edge(input, at, true);
        rig.chip().capture_edge(input, at + width, false);
    }

    void relays_changed(Cycle at, std::uint8_t after) {
        using namespace firmware;
        const std::uint8_t before = relays;
        relays = static_cast<std::uint8_t>(after & 0x1F);
        const bool was_on = (before & kRelaySupply) != 0;
        if (was_on && !on()) {
            supply_off_at = at;
        }
        const std::uint8_t moved = before ^ relays;
        // K2 follows K1 two cycles later at a trip.
        rule(on() || was_on || (relays & kRelayBypass) == 0, "bypass without supply");
        rule(!on() || (relays & kRelayStep) == 0, "step drive with supply");
        rule((moved & kRelayStep) == 0 || !drive, "step relay moved with the drive on");
        rule(!(was_on || on()) || (moved & kRelayLoads) == 0, "load moved with supply");
    }

    int turn_ = 0;
};

} // namespace yokedock::test
