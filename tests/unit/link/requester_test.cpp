// SPDX-License-Identifier: MIT
#include "host/link/memory_transport.hpp"
#include "host/link/requester.hpp"
#include "tests/unit/link/fake_device.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::link;
using wire::MessageKind;
namespace requests = wire::requests;
using FakeTransport = test::DeviceTransport<test::FakeDevice>;

namespace {

struct Fixture {
    test::FakeDevice device;
    std::atomic<bool> stop_flag = false;
    FakeTransport* transport = nullptr;
    std::unique_ptr<Requester> requester;

    explicit Fixture(test::Faults faults = {}) {
        auto owned = std::make_unique<FakeTransport>(device, faults);
        transport = owned.get();
        requester = std::make_unique<Requester>(std::move(owned), StopToken(stop_flag));
    }
};

double seconds(Clock::duration duration) {
    return std::chrono::duration<double>(duration).count();
}

} // namespace

TEST_CASE("a request comes back with its answer") {
    Fixture f;
    f.device.state.fields = 1234;
    const auto status = f.requester->ask<requests::status>({});
    REQUIRE(status.ok());
    CHECK(status.value().fields == 1234);
    CHECK(f.requester->counters().repeats == 0);
}

TEST_CASE("a lost answer is asked for again and the work is done once") {
    // Every second frame is lost, in either direction.
    Fixture f({0, 2, 3});
    int answered = 0;
    for (int i = 0; i < 50; ++i) {
        const auto answer = f.requester->ask<requests::sync_output>({1});
        answered += answer.ok() ? 1 : 0;
        if (!answer.ok()) {
            break; // six losses in a row: (3/4)^6 = 18 % of requests end so
        }
    }
    CHECK(answered > 0);
    const auto counters = f.requester->counters();
    CHECK(counters.repeats > 0);
    CHECK(f.device.seen[MessageKind::sync_output] > f.device.work[MessageKind::sync_output]);
    CHECK(f.device.work[MessageKind::sync_output] <= static_cast<int>(counters.requests));
    CHECK(f.device.work[MessageKind::sync_output] >= answered);
}

TEST_CASE("a bent frame is counted, asked for again, and never believed") {
    Fixture f({2000, 0, 7}); // about one echo in five bent on either way
    for (std::uint8_t i = 0; i < 200; ++i) {
        const std::vector<std::uint8_t> sent(20, i);
        const auto back = f.requester->echo(sent);
        REQUIRE(back.ok());
        CHECK(back.value() == sent);
    }
    CHECK(f.requester->counters().frames_bad > 0);
    CHECK(f.requester->counters().repeats > 0);
}

TEST_CASE("an answer with another number is stale and ignored") {
    Fixture f;
    std::uint8_t scratch[wire::kMaxFrameBytes];
    std::vector<std::uint8_t> stale(wire::kMaxEncodedBytes);
    const std::uint8_t payload[1] = {1};
    // The first request has number 1.
    stale.resize(wire::encode_frame(wire::answer_to(MessageKind::sync_output), 77, payload, 1,
                                    scratch, stale.data()));
    f.transport->inject(stale);
    const auto answer = f.requester->ask<requests::sync_output>({0});
    REQUIRE(answer.ok());
    CHECK(answer.value().enabled == 0);
    CHECK(f.requester->counters().frames_stale == 1);
}

TEST_CASE("a silent bench is a lost link within 3 s, and stays lost without more waiting") {
    Fixture f;
    f.device.silent = true;
    const auto begin = f.transport->now();
    const auto answer = f.requester->ask<requests::status>({});
    REQUIRE_FALSE(answer.ok());
    CHECK(answer.error().kind == ErrorKind::kLink);
    CHECK_THAT(answer.error().text, Catch::Contains("no answer") && Catch::Contains("status"));
    CHECK(seconds(f.transport->now() - begin) < 3.0);
    const auto then = f.transport->now();
    CHECK_FALSE(f.requester->ask<requests::status>({}).ok());
    CHECK(f.transport->now() == then);
    // Power off is tried all the same, once: the bench may still hear.
    CHECK_FALSE(f.requester->ask<requests::power_off>({}, When::kEvenWhenStopped).ok());
    CHECK(f.device.work[MessageKind::power_off] == 1);
    CHECK(seconds(f.transport->now() - begin) < 3.0);
}

TEST_CASE("a refusal names the request, the table's reason, the field and the value sent") {
    Fixture f;
    f.device.refuse = {static_cast<std::uint8_t>(MessageKind::set_sync),
                       static_cast<std::uint8_t>(wire::RefusalReason::bad_value), 2};
    wire::SyncSettings settings{15750, 1, 99, 4700, 2300, 4700, 6, 6, 6, 0};
    const auto answer = f.requester->ask<requests::set_sync>(settings);
    REQUIRE_FALSE(answer.ok());
    CHECK(answer.error().kind == ErrorKind::kRefused);
    CHECK_THAT(answer.error().text, Catch::Contains("set_sync") &&
                                        Catch::Contains("a value is out of range") &&
                                        Catch::Contains("half_lines = 99"));
    CHECK(f.requester->ask<requests::status>({}).ok()); // a refusal is no lost link
}

TEST_CASE("a refused schedule entry is named with its place in the schedule") {
    wire::CaptureSettings settings{};
    settings.schedule[2].step = 4321;
    // 4 head fields, 4 fields per entry: entry 2's third field is number 4 + 2 * 4 + 2.
    const FieldText field = find_field(settings, 14);
    CHECK(field.name == "step of schedule entry 2");
    CHECK(field.value == 4321);
    CHECK(find_field(settings, 2).name == "adc_prescale_log2");
    CHECK(find_field(settings, 4 + 4 * wire::kMaxSchedule).name.empty());
}

TEST_CASE("a bench of another protocol version is refused, naming both versions and the cure") {
    Fixture refusing;
    refusing.device.refuse = {static_cast<std::uint8_t>(MessageKind::identify),
                              static_cast<std::uint8_t>(wire::RefusalReason::version), 9};
    Fixture answering;
    answering.device.identity.protocol = 0;
    for (Fixture* f : {&refusing, &answering}) {
        const auto identity = f->requester->identify();
        REQUIRE_FALSE(identity.ok());
        CHECK(identity.error().kind == ErrorKind::kRefused);
        CHECK_THAT(identity.error().text,
                   Catch::Contains("speaks version " + std::to_string(wire::kProtocolVersion)) &&
                       Catch::Contains(f == &refusing ? "version 9" : "version 0") &&
                       Catch::Contains("flash"));
    }
}

TEST_CASE("the stop token ends a wait at once, but not the one for power off") {
    Fixture f;
    f.stop_flag = true;
    const auto stopped = f.requester->ask<requests::status>({});
    REQUIRE_FALSE(stopped.ok());
    CHECK(stopped.error().kind == ErrorKind::kStopped);
    CHECK(f.requester->ask<requests::power_off>({}, When::kEvenWhenStopped).ok());
    CHECK(f.requester->pause(Milliseconds(10000)).error().kind == ErrorKind::kStopped);
}

TEST_CASE("the memory pair carries bytes both ways and tells when the other end closed") {
    auto [a, b] = make_memory_pair();
    const std::uint8_t sent[3] = {1, 2, 3};
    REQUIRE(a->write_all(sent, Milliseconds(10)).ok());
    a->close();
    std::uint8_t got[8] = {};
    const auto count = b->read(got, Milliseconds(10));
    REQUIRE(count.ok());
    CHECK(count.value() == 3);
    CHECK(got[2] == 3);
    CHECK(b->read(got, Milliseconds(10)).error().kind == ErrorKind::kLink);
}
