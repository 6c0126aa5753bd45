// SPDX-License-Identifier: MIT
#include "host/bench/keep_alive.hpp"
#include "host/link/memory_transport.hpp"
#include "tests/unit/capture/bench_fixture.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using test::BenchFixture;
using wire::MessageKind;

TEST_CASE("the achieved rate of 525/59.94 is 4.5 MHz / 286, exactly") {
    BenchFixture f;
    bench::Bench bench = f.connect();
    const auto report = bench.set_sync(sync::kStandards[0].settings);
    REQUIRE(report.ok());
    CHECK(report.value().line_rate_error_relative == 0.0);
    const bench::ExactRate rate = report.value().line_rate;
    CHECK(rate.numerator * 286 == rate.denominator * 4500000);
    CHECK(rate.hz() == Approx(15734.265734).epsilon(1e-10)); // SMPTE 170M: 4.5 MHz / 286
    CHECK(report.value().field_rate.hz() == Approx(59.94005994).epsilon(1e-9));
    REQUIRE(bench.plan().has_value());
    CHECK(bench::same_plan(*bench.plan(), f.device.plan));
}

TEST_CASE("a sync that cannot be made is refused here, with the field's name, and not sent") {
    BenchFixture f;
    bench::Bench bench = f.connect();
    wire::SyncSettings settings = sync::kStandards[0].settings;
    settings.half_lines = 7;
    const auto report = bench.set_sync(settings);
    REQUIRE_FALSE(report.ok());
    CHECK(report.error().kind == ErrorKind::kUsage);
    CHECK_THAT(report.error().text, Catch::Contains("half_lines = 7"));
    CHECK(f.device.seen[MessageKind::set_sync] == 0);
}

TEST_CASE("a device that makes another sync than predicted is found out") {
    BenchFixture f;
    f.device.identity.clock_hz = 16000000;
    bench::Bench bench = f.connect();
    f.device.identity.clock_hz = 8000000; // computes with another clock than it said
    const auto report = bench.set_sync(sync::kStandards[1].settings);
    REQUIRE_FALSE(report.ok());
    CHECK(report.error().kind == ErrorKind::kInternal);
    CHECK_THAT(report.error().text, Catch::Contains("15625.000000 Hz expected"));
}

TEST_CASE("set_sync returns only when a whole field has passed on the device") {
    BenchFixture f;
    bench::Bench bench = f.connect();
    f.device.sync_on = true;
    const std::uint32_t before = f.device.state.time;
    REQUIRE(bench.set_sync(sync::kStandards[1].settings).ok());
    CHECK(f.device.state.time - before >= 320000); // 1 / 50 s at 16 MHz
}

TEST_CASE("power off reaches the bench after a stop") {
    BenchFixture f;
    const bench::Bench bench = f.connect();
    f.stop_flag = true;
    CHECK(bench.status().error().kind == ErrorKind::kStopped);
    CHECK(bench.power_off().ok());
    CHECK(f.device.work[MessageKind::power_off] == 1);
}

TEST_CASE("a bench with other channels than this host knows is refused") {
    test::FakeDevice device;
    device.identity.channels = 4;
    auto transport = std::make_unique<test::DeviceTransport<test::FakeDevice>>(device);
    const auto bench = bench::Bench::connect(std::move(transport), "memory:");
    REQUIRE_FALSE(bench.ok());
    CHECK(bench.error().kind == ErrorKind::kRefused);
    CHECK_THAT(bench.error().text, Catch::Contains("4 channels"));
}

TEST_CASE("keep-alive asks for the status while the owner is busy, and ends with its scope") {
    auto [host_end, device_end] = link::make_memory_pair();
    test::FakeDevice device;
    device.identity.silence_limit_ms = 80;
    std::atomic<int> statuses = 0;
    std::thread server([&, end = std::move(device_end)] {
        std::uint8_t buffer[256];
        for (;;) {
            const auto count = end->read(buffer, link::Milliseconds(1000));
            if (!count) {
                return;
            }
            for (const auto& frame : device.receive(link::Bytes(buffer, count.value()))) {
                static_cast<void>(end->write_all(frame, link::Milliseconds(1000)));
            }
            statuses = device.work[MessageKind::status];
        }
    });
    {
        const auto bench = bench::Bench::connect(std::move(host_end), "memory:");
        REQUIRE(bench.ok());
        const int before = statuses;
        const bench::KeepAlive keep_alive(bench.value());
        for (int i = 0; i < 1000 && statuses < before + 3; ++i) {
            std::this_thread::sleep_for(std::chrono::milliseconds(10));
        }
        CHECK(statuses >= before + 3);
    }
    server.join();
}
