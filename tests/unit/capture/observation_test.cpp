// SPDX-License-Identifier: MIT
#include "host/capture/line_starts.hpp"
#include "host/capture/measurement.hpp"
#include "shared/sync/standards.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::capture;

namespace {

RawMeasurement empty_measurement() {
    RawMeasurement m;
    m.bench.identity.clock_hz = 16000000;
    for (std::size_t i = 0; i < kChannelCount; ++i) {
        m.bench.scale[i] = nominal_scale(static_cast<ChannelId>(i));
    }
    return m;
}

RawCapture empty_capture(std::int64_t begin, std::int64_t end) {
    RawCapture c;
    c.begin_ticks = begin;
    c.end_ticks = end;
    c.plan = sync::make_plan(sync::kStandards[0].settings, 16000000).achieved;
    return c;
}

void add_sample(RawCapture& c, ChannelId channel, std::int64_t ticks, std::uint16_t code) {
    c.samples.ticks.push_back(ticks);
    c.samples.code.push_back(code);
    c.samples.channel.push_back(static_cast<std::uint8_t>(channel));
}

} // namespace

TEST_CASE("a code becomes a quantity at the time its sample was held") {
    RawMeasurement m = empty_measurement();
    RawCapture c = empty_capture(1000000, 17000000);
    c.aperture_ticks = 32;
    add_sample(c, ChannelId::v_yoke_a, 1000000 + 160, 768);  // 3.75 V: (3.75 - 2.5) / 1.25 = 1 A
    add_sample(c, ChannelId::supply_v, 1000000 + 1600, 256); // 1.25 V / 0.08 = 15.625 V
    m.captures.push_back(c);
    const Observation o = to_observation(m);
    const Samples& yoke = o.channels.at("v_yoke_a");
    REQUIRE(yoke.value.size() == 1);
    CHECK(yoke.value[0] == Approx(1.0).epsilon(1e-12));
    CHECK(yoke.time_s[0] ==
          Approx(192 / 16e6).epsilon(1e-12)); // 160 ticks to the trigger, 32 to the hold
    CHECK(yoke.resolution == Approx(5.0 / 1024 / 1.25));
    CHECK(yoke.gain_u_relative == Approx(0.005));
    CHECK(yoke.zero_u == Approx(0.004 / 1.25));
    CHECK(yoke.delay_s == Approx(2e-6));
    CHECK_FALSE(yoke.calibrated);
    CHECK(o.channels.at("supply_v").value[0] == Approx(15.625).epsilon(1e-12));
    CHECK(o.channels.count("h_yoke_a") == 0); // never sampled: absent, not 0
    CHECK_FALSE(o.sync_on);
    CHECK(o.sync.line_start_s.empty());
}

TEST_CASE("the NTC law gives 25 degC at mid-scale and the resistance law elsewhere") {
    RawMeasurement m = empty_measurement();
    RawCapture c = empty_capture(0, 16000000);
    add_sample(c, ChannelId::heatsink_c, 100, 512);
    // B = 3950 K, 10 kohm: at 80 degC the law gives 10000 exp(3950 (1/353.15 - 1/298.15)) = 1270.6
    // ohm (computed by hand), so 5 V * 1270.6 / 11270.6 = 0.56368 V = code 115.44; code 115 is 0.44
    // codes lower, hotter by 0.44 times 1/(dV/dT). One code there is about 0.28 degC (1024 * R Rs /
    // (R + Rs)^2 * B / T^2 = 3.17 codes per degC gives 0.316).
    add_sample(c, ChannelId::heatsink_c, 200, 115);
    add_sample(c, ChannelId::heatsink_c, 300, 0);    // shorted: no temperature
    add_sample(c, ChannelId::heatsink_c, 400, 1023); // open: no temperature
    m.captures.push_back(c);
    const Observation o = to_observation(m);
    const Samples& heatsink = o.channels.at("heatsink_c");
    REQUIRE(heatsink.value.size() == 2);
    CHECK(heatsink.value[0] == Approx(25.0).margin(1e-9));
    CHECK(heatsink.value[1] == Approx(80.14).margin(0.03));
    CHECK(heatsink.resolution > 0.05);
    CHECK(heatsink.resolution < 0.5);
}

TEST_CASE("a heat sink sensor that is not plugged in leaves the channel absent") {
    RawMeasurement m = empty_measurement();
    RawCapture c = empty_capture(0, 16000000);
    add_sample(c, ChannelId::heatsink_c, 100, 1023);
    m.captures.push_back(c);
    CHECK(to_observation(m).channels.count("heatsink_c") == 0);
}

TEST_CASE("line starts are those of the device, tick for tick, before and after the field starts") {
    RawCapture c = empty_capture(0, 0);
    // The device's own way: one accumulator running over half lines, fields of 525 of them.
    std::vector<std::int64_t> lines;
    std::uint32_t accumulator = 0;
    std::int64_t ticks = 50;
    for (std::uint32_t half = 0; half < 4 * 525; ++half) {
        if (half % 2 == 0) {
            lines.push_back(ticks);
        }
        if (half % 525 == 0 && half > 0) { // the first field start was before the capture was read
            c.field_starts.ticks.push_back(ticks);
            c.field_starts.accumulator.push_back(accumulator);
            c.field_starts.mid_line.push_back(half % 2 != 0);
        }
        ticks += sync::slot_ticks(c.plan, accumulator, 1);
    }
    c.begin_ticks = 50;
    c.end_ticks = ticks - 1;
    CHECK((line_starts(c) == lines));
}

TEST_CASE(
    "field and line starts of the sync that was sent are on the time axis, with the sync's rates") {
    RawMeasurement m = empty_measurement();
    RawCapture c = empty_capture(0, 800000);
    c.sync_on = true;
    c.field_starts = {{1600, 1600 + 266933}, {0, 0}, {false, true}};
    m.captures.push_back(c);
    const Observation o = to_observation(m);
    CHECK(o.sync_on);
    CHECK(o.interlaced);
    CHECK(o.line_rate_hz == Approx(4.5e6 / 286).epsilon(1e-12));
    CHECK(o.field_rate_hz == Approx(60 / 1.001).epsilon(1e-9));
    REQUIRE(o.sync.field_start_s.size() == 2);
    CHECK(o.sync.field_start_s[0] == Approx(1e-4));
    CHECK_FALSE(o.sync.field_mid_line[0]);
    CHECK(o.sync.field_mid_line[1]);
    // Six equalising pulses, half a line each, come before the first broad one.
    CHECK(o.sync.vertical_sync_offset_s == Approx(3 * 286 / 4.5e6));
    CHECK(std::is_sorted(o.sync.line_start_s.begin(), o.sync.line_start_s.end()));
}

TEST_CASE(
    "time in which an input was not stamped is listed, and its edges are kept apart by direction") {
    RawMeasurement m = empty_measurement();
    RawCapture first = empty_capture(0, 16000000);
    first.settings.line_edge_mode = 3;
    first.line_edges = {{160, 320}, {true, false}};
    RawCapture second = empty_capture(17600000, 32000000); // line input not stamped
    second.settings.field_edge_mode = 1;
    RawCapture third = empty_capture(32000000, 48000000);
    third.settings.line_edge_mode = 1;
    third.gaps.push_back({wire::BlockKind::kLineEdges, 33600000, 35200000});
    m.captures = {first, second, third};
    const Observation o = to_observation(m);
    CHECK(o.line_pulses.rise_s == std::vector<double>{1e-5});
    CHECK(o.line_pulses.fall_s == std::vector<double>{2e-5});
    // The first capture stamps both edges of every line: an absent one means nothing there.
    REQUIRE(o.line_pulses.unwatched.size() == 3);
    CHECK(o.line_pulses.unwatched[0].begin_s == Approx(0.0));
    CHECK(o.line_pulses.unwatched[0].end_s == Approx(1.0));
    CHECK(o.line_pulses.unwatched[1].begin_s == Approx(1.0));
    CHECK(o.line_pulses.unwatched[1].end_s == Approx(2.0));
    CHECK(o.line_pulses.unwatched[2].begin_s == Approx(2.1));
    CHECK(o.line_pulses.unwatched[2].end_s == Approx(2.2));
    REQUIRE(o.field_pulses.unwatched.size() == 2);
    CHECK(o.field_pulses.unwatched[0].end_s == Approx(1.1));
    CHECK(o.field_pulses.unwatched[1].end_s == Approx(3.0));
}

TEST_CASE("an empty measurement is an empty observation") {
    const Observation o = to_observation(empty_measurement());
    CHECK(o.channels.empty());
    CHECK(o.line_pulses.unwatched.empty());
}
