// SPDX-License-Identifier: MIT
// Sockets: a session over each kind, and a bench that goes away in mid-capture. How long the host
// may take to say so follows from its count of attempts, not from a clock: a loaded machine must
// not fail the test.
#include "host/capture/measurement.hpp"
#include "shared/sync/standards.hpp"
#include "tests/system/link_server.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::capture;

namespace {

constexpr std::size_t kMidCapture =
    30000; // bytes; a whole edges phase has 31000 and the rest follows

MeasureOutcome measure(bench::Bench& bench) {
    REQUIRE(bench.set_sync(sync::kStandards[3].settings).ok());
    return run_measurement(bench, {{1.0, 0.15, 0.3, 0.12, 0.2}, false});
}

} // namespace

TEST_CASE("no answer for all attempts takes less than 3 s") {
    const link::RequesterTiming timing;
    CHECK(timing.answer * timing.attempts + timing.answer <
          std::chrono::seconds(3)); // and one for power off
}

TEST_CASE("a measurement over tcp and one over a unix socket are whole") {
    const test::TemporaryFolder folder;
    for (const bool tcp : {true, false}) {
        std::string address;
        const int fd =
            tcp ? test::listen_tcp(address) : test::listen_unix(folder.path() + "/bench", address);
        const test::DescriptorServer server(fd, true);
        auto bench = bench::Bench::open(address);
        REQUIRE(bench.ok());
        CHECK(bench.value().transport_kind() == (tcp ? "tcp" : "unix"));
        CHECK(bench.value().address() == address);
        const MeasureOutcome outcome = measure(bench.value());
        CHECK_FALSE(outcome.error.has_value());
        CHECK(outcome.measurement.captures.size() == 8);
    }
}

TEST_CASE("a bench whose connection closes in mid-capture is a lost link without a single repeat") {
    std::string address;
    const int fd = test::listen_tcp(address);
    const test::DescriptorServer server(fd, true, test::Ending::kClose, kMidCapture);
    auto bench = bench::Bench::open(address);
    REQUIRE(bench.ok());
    const MeasureOutcome outcome = measure(bench.value());
    REQUIRE(outcome.error.has_value());
    CHECK(outcome.error->kind == ErrorKind::kLink);
    CHECK_THAT(outcome.error->text, Catch::Contains(address));
    CHECK_FALSE(outcome.measurement.complete);
    REQUIRE(outcome.measurement.captures.size() == 1);
    CHECK(outcome.measurement.captures[0].line_edges.ticks.size() > 5000);
    CHECK(bench.value().requester().counters().repeats == 0);
}

TEST_CASE(
    "a bench that falls silent in mid-capture is a lost link after the attempts of one request") {
    std::string address;
    const int fd = test::listen_tcp(address);
    const test::DescriptorServer server(fd, true, test::Ending::kSilent, kMidCapture);
    auto bench = bench::Bench::open(address);
    REQUIRE(bench.ok());
    const MeasureOutcome outcome = measure(bench.value());
    REQUIRE(outcome.error.has_value());
    CHECK(outcome.error->kind == ErrorKind::kLink);
    CHECK_FALSE(outcome.measurement.complete);
    CHECK_FALSE(outcome.measurement.captures.empty());
    CHECK(bench.value().requester().counters().repeats ==
          static_cast<std::uint64_t>(link::RequesterTiming{}.attempts - 1));
}
