// SPDX-License-Identifier: MIT
// What the bench keeps of a trip comes back, newest readings last, and nothing of it is lost to the
// reading.
#include "host/bench/channel_codes.hpp"
#include "host/capture/supply_readings.hpp"
#include "shared/sync/standards.hpp"
#include "tests/unit/bench/guarded_device.hpp"
#include <catch2/catch.hpp>
#include <cmath>

using namespace yokedock;

TEST_CASE("the samples kept of a trip tell each channel's last readings") {
    bool trip = false;
    test::GuardedDevice device([&trip](std::uint8_t relays, double ms) {
        test::BoardState s = test::healthy_board(relays, ms);
        if (trip && (relays & 1) != 0) {
            s.code[3] =
                static_cast<std::uint16_t>(std::lround(bench::code_of(ChannelId::supply_a, 1.6)));
        }
        return s;
    });
    auto bench = bench::Bench::connect(
        std::make_unique<test::DeviceTransport<test::GuardedDevice>>(device), "memory:");
    REQUIRE(bench);
    bench::Bench b = std::move(bench).value();
    REQUIRE(b.set_sync(sync::kStandards[0].settings));
    REQUIRE(b.sync_output(true));
    bench::PowerLimits limits;
    limits.supply_max_v = 26.5;
    limits.supply_max_a = 1;
    limits.soft_start_ms = 300;
    limits.soft_start_min_v = 10;
    limits.supply_idle_max_a = 0.8;
    bench::EnergiseOptions options;
    options.guard = bench::plan_guard(limits).value();
    options.read = [&b] { return capture::read_channels(b); };
    const auto up = bench::energise(b, options);
    INFO((up.error ? up.error->text : ""));
    REQUIRE_FALSE(up.error);
    // The readings of the stages came through captures of the firmware's own pool.
    const auto rail = up.stages.back().readings[static_cast<std::size_t>(ChannelId::supply_v)];
    REQUIRE(rail);
    CHECK(*rail == Approx(24).margin(0.1));
    REQUIRE(b.wait_ticks(16000 * 100));
    trip = true;
    REQUIRE(b.wait_ticks(16000 * 50));
    const auto told = bench::ask_trip(b, "live");
    REQUIRE(told);
    CHECK(told->cause == wire::StopCause::supply_current);
    const auto kept = capture::read_trip(b, told->time);
    REQUIRE(kept);
    CHECK(kept.value().samples.code.size() > 100);
    const auto last = capture::last_readings(kept.value(), told->time, 16e6);
    REQUIRE(last.size() >= 3);
    for (const capture::LastReading& each : last) {
        INFO(kChannels[static_cast<std::size_t>(each.channel)].name);
        CHECK(std::abs(each.before_s) < 0.02); // sampling goes on for 10 ms after the trip
    }
    const auto again = capture::read_trip(b, told->time); // reading frees nothing
    REQUIRE(again);
    CHECK(again.value().samples.code == kept.value().samples.code);
}
