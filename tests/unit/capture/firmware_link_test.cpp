// SPDX-License-Identifier: MIT
// The host against the firmware's own request handling and block pool, in memory.
#include "host/capture/measurement.hpp"
#include "shared/sync/standards.hpp"
#include "tests/unit/capture/firmware_device.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::capture;

namespace {

struct Session {
    test::FirmwareDevice device;
    bench::Bench bench;

    explicit Session(test::Faults faults)
        : bench(bench::Bench::connect(
                    std::make_unique<test::DeviceTransport<test::FirmwareDevice>>(device, faults),
                    "memory:")
                    .value()) {
        REQUIRE(bench.set_sync(sync::kStandards[3].settings).ok());
        REQUIRE(bench.sync_output(true).ok());
    }
};

/// Ticks from the capture's begin: when a capture starts depends on how many requests came before.
std::vector<std::int64_t> since_begin(const RawCapture& capture,
                                      const std::vector<std::int64_t>& ticks) {
    std::vector<std::int64_t> moved;
    for (const std::int64_t each : ticks) {
        moved.push_back(each - capture.begin_ticks);
    }
    return moved;
}

} // namespace

TEST_CASE("the firmware answers every request of a session") {
    Session session({});
    CHECK(session.bench.status().ok());
    CHECK(session.bench.video(wire::VideoPattern::kGrid).ok());
    const auto off = session.bench.power_off();
    REQUIRE(off.ok());
    CHECK(off.value().state == static_cast<std::uint8_t>(wire::BenchState::idle));
    const auto on = session.bench.power_on(wire::BenchState::checked);
    REQUIRE_FALSE(on.ok()); // no limits were set
    CHECK(on.error().kind == ErrorKind::kRefused);
    CHECK(on.error().text.find("give a profile with limits") != std::string::npos);
    CHECK(session.bench.power().ok());
    const std::vector<std::uint8_t> sent(wire::kEchoBytes, 0);
    CHECK(session.bench.requester().echo(sent).value() == sent);
}

TEST_CASE("a measurement of the firmware is the same over a clean link and over one that loses "
          "frames and bits") {
    Session clean({});
    Session lossy({10000, 100, 11});
    const MeasureOutcome expected = run_measurement(clean.bench, {});
    const MeasureOutcome received = run_measurement(lossy.bench, {});
    REQUIRE_FALSE(expected.error.has_value());
    REQUIRE_FALSE(received.error.has_value());
    REQUIRE(received.measurement.captures.size() == 8);
    for (std::size_t i = 0; i < 8; ++i) {
        const RawCapture& a = expected.measurement.captures[i];
        const RawCapture& b = received.measurement.captures[i];
        CHECK(a.gaps.empty());
        CHECK(b.gaps.empty());
        CHECK(b.words_dropped == 0);
        CHECK((a.samples.code == b.samples.code));
        CHECK((a.samples.channel == b.samples.channel));
        CHECK((since_begin(a, a.samples.ticks) == since_begin(b, b.samples.ticks)));
        CHECK((since_begin(a, a.line_edges.ticks) == since_begin(b, b.line_edges.ticks)));
        CHECK((since_begin(a, a.field_edges.ticks) == since_begin(b, b.field_edges.ticks)));
        CHECK((since_begin(a, a.field_starts.ticks) == since_begin(b, b.field_starts.ticks)));
    }
    // 1.25 s of 1016-tick lines; the truth of the source, word for word.
    const RawCapture& vertical = received.measurement.captures[2];
    REQUIRE(vertical.samples.code.size() == Approx(1.25 * 16e6 / test::kSourceLineTicks).margin(1));
    for (std::uint32_t n = 0; n < vertical.samples.code.size(); ++n) {
        REQUIRE(vertical.samples.code[n] == (test::mix(n) & 0x3FF));
        REQUIRE(vertical.samples.ticks[n] - vertical.begin_ticks ==
                n * test::kSourceLineTicks + 200);
    }
    CHECK(lossy.bench.requester().counters().frames_bad > 100);
}

TEST_CASE("the firmware's refusal of a schedule names the entry and the value") {
    Session session({});
    wire::CaptureSettings settings{};
    settings.entries = 2;
    settings.schedule[1].channel = 0;
    settings.schedule[0].places = settings.schedule[1].places = 1;
    settings.schedule[1].first_place = 2000; // a line has 1015 ticks
    const auto started = session.bench.start_capture(settings);
    REQUIRE_FALSE(started.ok());
    CHECK_THAT(started.error().text, Catch::Contains("first_place of schedule entry 1 = 2000"));
}
