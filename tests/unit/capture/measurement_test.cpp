// SPDX-License-Identifier: MIT
#include "host/capture/measurement.hpp"
#include "host/link/memory_transport.hpp"
#include "tests/unit/capture/bench_fixture.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::capture;
using test::BenchFixture;
using wire::BlockKind;
using wire::MessageKind;

namespace {

constexpr PhaseSeconds kShort{0.1, 0.05, 0.1, 0.05,
                              0.1}; // the fake device's own pace is what counts

void check_same(const RawCapture& a, const RawCapture& b) {
    CHECK(a.purpose == b.purpose);
    CHECK(a.begin_ticks == b.begin_ticks);
    CHECK(a.end_ticks == b.end_ticks);
    CHECK((a.samples.ticks == b.samples.ticks));
    CHECK((a.samples.code == b.samples.code));
    CHECK((a.samples.channel == b.samples.channel));
    CHECK((a.line_edges.ticks == b.line_edges.ticks));
    CHECK((a.line_edges.rising == b.line_edges.rising));
    CHECK((a.field_edges.ticks == b.field_edges.ticks));
    CHECK((a.field_starts.ticks == b.field_starts.ticks));
    CHECK(a.gaps.size() == b.gaps.size());
}

double seconds(link::Clock::duration duration) {
    return std::chrono::duration<double>(duration).count();
}

} // namespace

TEST_CASE("a whole measurement arrives: every phase, every line, on one time axis") {
    BenchFixture f;
    const bench::Bench bench = f.connect_synced();
    double last_done = 0;
    const MeasureOutcome outcome = run_measurement(bench, {}, [&](const MeasureProgress& p) {
        CHECK(p.done >= last_done);
        last_done = p.done;
    });
    REQUIRE_FALSE(outcome.error.has_value());
    CHECK(last_done == Approx(1.0));
    const RawMeasurement& m = outcome.measurement;
    CHECK(m.complete);
    REQUIRE(m.captures.size() == 8);
    std::int64_t before = 0;
    for (const RawCapture& c : m.captures) {
        CHECK(c.begin_ticks > before);
        CHECK(c.gaps.empty());
        CHECK(c.words_dropped == 0);
        before = c.end_ticks;
    }
    // The fake device makes a line every 1016 ticks: samples of 1.25 s at 16 MHz. Places inside the
    // line may put the last one after the end.
    const RawCapture& vertical = m.captures[2];
    CHECK(vertical.purpose == "vertical");
    CHECK(std::abs(static_cast<int>(vertical.samples.ticks.size()) - 20000000 / 1016) <= 1);
    for (std::size_t i = 0; i < vertical.samples.ticks.size(); ++i) {
        const auto line = static_cast<std::uint32_t>(i);
        REQUIRE(vertical.samples.code[i] == (test::mix(line ^ 3u << 24) & 0x3FF));
    }
    CHECK(m.captures[0].line_edges.ticks.size() == Approx(16000000 / 1016.0).margin(1));
    CHECK(m.bench.transport == "memory");
    CHECK(m.bench.scale[0].volts_per_unit == 1.25);
}

TEST_CASE("over a link that bends 1 bit in 10000 and drops 1 frame in 100 a measurement arrives "
          "identical") {
    BenchFixture clean;
    BenchFixture lossy;
    const bench::Bench clean_bench = clean.connect_synced();
    const bench::Bench lossy_bench = lossy.connect_synced({10000, 100, 5});
    const MeasureOutcome expected = run_measurement(clean_bench, {});
    const MeasureOutcome received = run_measurement(lossy_bench, {});
    REQUIRE_FALSE(expected.error.has_value());
    REQUIRE_FALSE(received.error.has_value());
    CHECK(received.measurement.complete);
    REQUIRE(received.measurement.captures.size() == expected.measurement.captures.size());
    for (std::size_t i = 0; i < expected.measurement.captures.size(); ++i) {
        check_same(expected.measurement.captures[i], received.measurement.captures[i]);
    }
    // The link was as bad as meant: 230 bytes a block frame, so about one in six was bent, and one
    // in a hundred lost.
    const link::LinkCounters counters = lossy_bench.requester().counters();
    const double bad_part =
        static_cast<double>(counters.frames_bad) / static_cast<double>(counters.frames_in);
    CHECK(bad_part > 0.05);
    CHECK(bad_part < 0.30);
    CHECK(counters.repeats > 10);
}

TEST_CASE("dropped words are gaps in their own stretch, and to_observation says not watched") {
    BenchFixture f;
    f.device.overflow = true; // lines 1000 to 1199 of each capture
    const bench::Bench bench = f.connect_synced();
    const MeasureOutcome outcome = run_measurement(bench, {{0.2, 0.05, 0.1, 0.05, 0.1}, false});
    REQUIRE_FALSE(outcome.error.has_value());
    const RawCapture& edges = outcome.measurement.captures[0];
    CHECK(edges.words_dropped > 0);
    REQUIRE_FALSE(edges.gaps.empty());
    const auto gap = std::find_if(edges.gaps.begin(), edges.gaps.end(),
                                  [](const RawGap& g) { return g.kind == BlockKind::kLineEdges; });
    REQUIRE(gap != edges.gaps.end());
    // From the edge of line 999 to that of line 1200; edges stand 100 to 107 ticks into their line.
    CHECK(gap->begin_ticks - edges.begin_ticks == Approx(999 * 1016 + 103).margin(4));
    CHECK(gap->end_ticks - edges.begin_ticks == Approx(1200 * 1016 + 103).margin(4));
    const Observation observation = to_observation(outcome.measurement);
    const double begin_s = static_cast<double>(gap->begin_ticks - edges.begin_ticks) / 16e6;
    REQUIRE_FALSE(observation.line_pulses.unwatched.empty());
    CHECK(observation.line_pulses.unwatched[0].begin_s == Approx(begin_s).margin(1e-9));
}

TEST_CASE(
    "a bench that falls silent in mid-capture is a lost link within 3 s, and what came is kept") {
    BenchFixture f;
    const bench::Bench bench = f.connect_synced();
    link::Clock::time_point silent_at{};
    const MeasureOutcome outcome =
        run_measurement(bench, {kShort, false}, [&](const MeasureProgress& p) {
            if (p.phase == "vertical" && p.done > 0.33 && !f.device.silent) {
                f.device.silent = true;
                silent_at = f.transport->now();
            }
        });
    REQUIRE(outcome.error.has_value());
    CHECK(outcome.error->kind == ErrorKind::kLink);
    CHECK(seconds(f.transport->now() - silent_at) < 3.0);
    CHECK_FALSE(outcome.measurement.complete);
    REQUIRE(outcome.measurement.captures.size() == 3);
    CHECK_FALSE(outcome.measurement.captures[2].samples.ticks.empty());
    const RawCapture& part = outcome.measurement.captures[2];
    CHECK(part.end_ticks < part.begin_ticks + 1600000); // cut off, not the 0.1 s asked for
    const Observation observation = to_observation(outcome.measurement);
    CHECK(observation.channels.count("v_yoke_a") == 1);
}

TEST_CASE("a transport that closes in mid-capture ends the measurement at once") {
    BenchFixture f;
    const bench::Bench bench = f.connect_synced();
    const MeasureOutcome outcome =
        run_measurement(bench, {kShort, false}, [&](const MeasureProgress& p) {
            if (p.done > 0.3) {
                f.transport->close();
            }
        });
    REQUIRE(outcome.error.has_value());
    CHECK(outcome.error->kind == ErrorKind::kLink);
    CHECK_FALSE(outcome.measurement.captures.empty());
}

TEST_CASE("a stop ends the measurement, keeps what came, and stops the capture on the bench") {
    BenchFixture f;
    const bench::Bench bench = f.connect_synced();
    const MeasureOutcome outcome =
        run_measurement(bench, {kShort, false}, [&](const MeasureProgress& p) {
            f.stop_flag = f.stop_flag || p.done > 0.4;
        });
    REQUIRE(outcome.error.has_value());
    CHECK(outcome.error->kind == ErrorKind::kStopped);
    CHECK_FALSE(outcome.measurement.complete);
    CHECK(outcome.bench_seconds > 0);
    CHECK(f.device.work[MessageKind::stop_capture] == f.device.work[MessageKind::start_capture]);
}

TEST_CASE("a refused capture names the field of the schedule and leaves no empty capture") {
    BenchFixture f;
    const bench::Bench bench = f.connect_synced();
    f.device.refuse = {static_cast<std::uint8_t>(MessageKind::start_capture), 3, 5};
    const MeasureOutcome outcome = run_measurement(bench, {kShort, false});
    REQUIRE(outcome.error.has_value());
    CHECK(outcome.error->kind == ErrorKind::kRefused);
    CHECK_THAT(outcome.error->text, Catch::Contains("first_place of schedule entry 0"));
    CHECK(outcome.measurement.captures.empty());
}

TEST_CASE("a measurement longer than the budget, or without a sync set, is wrong usage") {
    BenchFixture f;
    const bench::Bench bench = f.connect();
    CHECK(run_measurement(bench, {}).error->kind == ErrorKind::kUsage);
    PhaseSeconds seconds;
    seconds.slow = 5;
    CHECK_THAT(run_measurement(bench, {seconds, false}).error->text,
               Catch::Contains("at most 6 s"));
}
