// SPDX-License-Identifier: MIT
#include "shared/sync/standards.hpp"
#include "tests/unit/firmware/device_fixture.hpp"

using namespace yokedock;
using namespace yokedock::firmware;

namespace {

using Kind = wire::MessageKind;
using Reason = wire::RefusalReason;

} // namespace

TEST_CASE("identify tells who is there, and refuses another protocol by its version") {
    Bench bench;
    const Answer answer = bench.ask(Kind::identify, 1, wire::IdentifyRequest{});
    REQUIRE(answer.kind == wire::answer_to(Kind::identify));
    const auto id = read<wire::IdentifyAnswer>(answer);
    CHECK(id.protocol == wire::kProtocolVersion);
    CHECK(id.bench_serial == 4711);
    CHECK(id.clock_hz == 16000000);
    CHECK(id.channels == 8);
    CHECK(id.pool_blocks == kPoolBlocks);
    wire::IdentifyRequest other;
    other.protocol = 9;
    check_refused(bench.ask(Kind::identify, 2, other), Kind::identify, Reason::version,
                  wire::kProtocolVersion);
}

TEST_CASE("a request said twice is answered twice and done once") {
    Bench bench;
    const Answer first = bench.ask(Kind::set_sync, 7, sync::kStandards[1].settings);
    const Answer second = bench.ask(Kind::set_sync, 7, sync::kStandards[1].settings);
    CHECK(bench.hardware.sync_changes == 1);
    CHECK(first.payload == second.payload);
    bench.ask(Kind::set_sync, 8, sync::kStandards[1].settings);
    CHECK(bench.hardware.sync_changes == 2);
    // A new session starts with identify: old numbers mean nothing any more.
    bench.ask(Kind::identify, 8, wire::IdentifyRequest{});
    bench.ask(Kind::set_sync, 8, sync::kStandards[1].settings);
    CHECK(bench.hardware.sync_changes == 3);
    // identify itself is done every time.
    CHECK(bench.ask(Kind::identify, 3, wire::IdentifyRequest{}).kind ==
          wire::answer_to(Kind::identify));
    wire::IdentifyRequest other;
    other.protocol = wire::kProtocolVersion + 1;
    CHECK(bench.ask(Kind::identify, 3, other).kind == Kind::refused);
}

TEST_CASE("wrong requests are refused with reason and detail") {
    Bench bench;
    check_refused(bench.ask_payload(static_cast<Kind>(0x33), 1, {}), static_cast<Kind>(0x33),
                  Reason::unknown_request, 0);
    check_refused(bench.ask_payload(Kind::status, 2, {1, 2}), Kind::status, Reason::bad_size, 2);
    check_refused(bench.ask_payload(Kind::set_sync, 3, {1}), Kind::set_sync, Reason::bad_size, 1);
    wire::SyncSettings settings = sync::kStandards[0].settings;
    settings.half_lines = 3;
    check_refused(bench.ask(Kind::set_sync, 4, settings), Kind::set_sync, Reason::bad_value, 2);
    check_refused(bench.ask(Kind::sync_output, 5, wire::SyncOutput{2}), Kind::sync_output,
                  Reason::bad_value, 0);
    check_refused(bench.ask(Kind::set_video, 6, wire::VideoSettings{5}), Kind::set_video,
                  Reason::bad_value, 0);
    check_refused(bench.ask(Kind::power_on, 7, wire::PowerStage{1}), Kind::power_on,
                  Reason::not_ready, static_cast<std::uint32_t>(wire::StopCause::no_limits));
    check_refused(bench.ask_payload(Kind::echo, 8, std::vector<std::uint8_t>(201, 1)), Kind::echo,
                  Reason::bad_size, 201);
    CHECK(bench.hardware.sync_changes == 0);
    CHECK(!bench.hardware.asked_output.has_value());
    CHECK(!bench.hardware.pattern.has_value());
}

TEST_CASE("each value of a capture out of range is refused with its field number") {
    Bench bench;
    std::uint8_t number = 0;
    const auto refused = [&](auto change) {
        wire::CaptureSettings s;
        s.entries = 2;
        s.schedule[0] = {0, 100, 0, 1};
        s.schedule[1] = {7, 100, 1, 900};
        change(s);
        const Answer answer = bench.ask(Kind::start_capture, ++number, s);
        return answer.kind == Kind::refused
                   ? static_cast<int>(read<wire::RefusedAnswer>(answer).detail)
                   : -1;
    };
    CHECK(refused([](auto&) {}) == -1);
    CHECK(refused([](auto& s) { s.line_edge_mode = 4; }) == 0);
    CHECK(refused([](auto& s) { s.field_edge_mode = 4; }) == 1);
    CHECK(refused([](auto& s) { s.adc_prescale_log2 = 3; }) == 2);
    CHECK(refused([](auto& s) { s.adc_prescale_log2 = 8; }) == 2);
    CHECK(refused([](auto& s) { s.entries = wire::kMaxSchedule + 1; }) == 3);
    CHECK(refused([](auto& s) { s.schedule[0].channel = 8; }) == 4);
    CHECK(refused([](auto& s) { s.schedule[0].first_place = 1016; }) == 5);
    CHECK(refused([](auto& s) { s.schedule[1].step = 2; }) == 10);
    CHECK(refused([](auto& s) { s.schedule[1].places = 0; }) == 11);
    CHECK(bench.hardware.starts == 1);
}

TEST_CASE("blocks are sent as asked, again when asked again, and freed only on request") {
    Bench bench;
    bench.ask(Kind::start_capture, 1, wire::CaptureSettings{});
    for (std::uint32_t n = 0; n < 27 * 5; ++n) {
        bench.hardware.pool().push_field_start(n, 0);
    }
    const auto ask = [&](std::uint8_t number, wire::ReadBlocksRequest request) {
        std::uint8_t payload[8];
        const std::size_t size = wire::write_fields(request, payload, sizeof(payload));
        bench.send_payload(Kind::read_blocks, number, {payload, payload + size});
        return bench.answers();
    };
    auto all = ask(2, {1, 3, 0});
    REQUIRE(all.size() == 4);
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK(all[i].kind == Kind::block);
        CHECK(all[i].payload[0] == 1 + i);
    }
    auto done = read<wire::ReadBlocksAnswer>(all[3]);
    CHECK(done.sent_from == 1);
    CHECK(done.sent == 3);
    CHECK(done.oldest == 0);
    CHECK(done.next == 5);
    CHECK(done.capturing == 1);
    CHECK(ask(3, {1, 3, 2}).size() == 4); // 0 and 1 may go: 1 is gone, so 2, 3 and 4 come
    all = ask(4, {0, 9, 2});
    REQUIRE(all.size() == 4);
    done = read<wire::ReadBlocksAnswer>(all[3]);
    CHECK(done.sent_from == 2);
    CHECK(done.oldest == 2);
    all = ask(4, {0, 9, 2}); // the answer was lost: only that again
    REQUIRE(all.size() == 1);
    CHECK(all[0].kind == wire::answer_to(Kind::read_blocks));
    CHECK(ask(5, {5, 9, 5}).size() == 1); // nothing there yet
}

TEST_CASE(
    "an answer waits for a transmit buffer, and a new request ends the blocks of the old one") {
    Bench bench;
    bench.ask(Kind::start_capture, 1, wire::CaptureSettings{});
    for (std::uint32_t n = 0; n < 27 * 5; ++n) {
        bench.hardware.pool().push_field_start(n, 0);
    }
    bench.hardware.transmit_blocked = true;
    std::uint8_t payload[8];
    const std::size_t size =
        wire::write_fields(wire::ReadBlocksRequest{0, 5, 0}, payload, sizeof(payload));
    bench.send_payload(Kind::read_blocks, 2, {payload, payload + size});
    CHECK(bench.answers().empty());
    bench.send_payload(Kind::power_off, 3, {});
    CHECK(bench.answers().empty());
    bench.hardware.transmit_blocked = false;
    const auto all = bench.answers();
    REQUIRE(all.size() == 1);
    CHECK(all[0].kind == wire::answer_to(Kind::power_off));
}

TEST_CASE("echo returns its bytes") {
    Bench bench;
    std::vector<std::uint8_t> bytes(200);
    for (std::size_t i = 0; i < bytes.size(); ++i) {
        bytes[i] = static_cast<std::uint8_t>(i % 3 == 0 ? 0 : i);
    }
    CHECK(bench.ask_payload(Kind::echo, 1, bytes).payload == bytes);
    CHECK(bench.ask_payload(Kind::echo, 2, {}).payload.empty());
}

TEST_CASE("frames with wrong sums are counted and never answered") {
    Bench bench;
    bench.hardware.input = {1, 2, 3, 4, 5, 0, 9, 0};
    CHECK(bench.answers().empty());
    const auto status = read<wire::StatusAnswer>(bench.ask_payload(Kind::status, 1, {}));
    CHECK(status.frames_bad == 2);
    CHECK(status.fields == 7);
}
