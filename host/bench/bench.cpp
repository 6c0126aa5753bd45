// SPDX-License-Identifier: MIT
#include "host/bench/bench.hpp"
#include "shared/channels.hpp"
#include <algorithm>
#include <array>
#include <fmt/format.h>

namespace yokedock::bench {

using link::Milliseconds;
using link::When;
namespace requests = wire::requests;

namespace {

constexpr Milliseconds kPollPause{5};

template <class T> Status status_of(const Result<T>& result) {
    return result.ok() ? Status(Done{}) : Status(result.error());
}

Error unmakable(const link::FieldText& field, const wire::IdentifyAnswer& identity) {
    return {
        ErrorKind::kUsage,
        fmt::format(
            "this sync cannot be made: {} = {}; expected {} within the bench's limits (line rate "
            "{:.0f} to {:.0f} Hz, pulses of at least {} and at most a quarter of a line, whole "
            "lines "
            "where the vertical sync is plain or serrated once per line); change that value",
            field.name, field.value, field.text, identity.min_line_rate_mhz * 1e-3,
            identity.max_line_rate_mhz * 1e-3,
            fmt::format("{:.1f} us", sync::kMinPulseTicks * 1e6 / identity.clock_hz))};
}

} // namespace

bool same_plan(const wire::SyncAchieved& a, const wire::SyncAchieved& b) {
    constexpr std::size_t kSize = wire::wire_size<wire::SyncAchieved>();
    std::array<std::uint8_t, kSize> bytes_a{};
    std::array<std::uint8_t, kSize> bytes_b{};
    wire::write_fields(a, bytes_a.data(), kSize);
    wire::write_fields(b, bytes_b.data(), kSize);
    return bytes_a == bytes_b;
}

Result<Bench> Bench::connect(std::unique_ptr<link::Transport> transport, std::string address,
                             link::StopToken stop) {
    auto requester = std::make_unique<link::Requester>(std::move(transport), stop);
    const auto identity = requester->identify();
    if (!identity) {
        return identity.error();
    }
    if (identity.value().clock_hz == 0 || identity.value().channels != kChannelCount) {
        return Error{
            ErrorKind::kRefused,
            fmt::format("the bench at {} says: clock {} Hz, {} channels; expected a clock and {} "
                        "channels; flash the firmware that belongs to this yokedock",
                        address, identity.value().clock_hz, identity.value().channels,
                        kChannelCount)};
    }
    const auto status = requester->ask<requests::status>({});
    if (!status) {
        return status.error();
    }
    const bool sync_on = (status.value().flags & wire::kStatusSyncOn) != 0;
    return Bench(std::move(requester), std::move(address), identity.value(), sync_on);
}

Result<Bench> Bench::open(const std::string& address, link::StopToken stop) {
    const auto parsed = link::parse_address(address);
    if (!parsed) {
        return parsed.error();
    }
    auto transport = link::open_transport(parsed.value());
    if (!transport) {
        return transport.error();
    }
    return connect(std::move(transport).value(), address, stop);
}

Result<wire::StatusAnswer> Bench::status() const {
    return requester_->ask<requests::status>({});
}

Result<SyncReport> Bench::set_sync(const wire::SyncSettings& settings) {
    const sync::PlanResult predicted = sync::make_plan(settings, identity_.clock_hz);
    if (!predicted.ok) {
        return unmakable(link::find_field(settings, predicted.bad_field), identity_);
    }
    const auto answer = requester_->ask<requests::set_sync>(settings);
    if (!answer) {
        return answer.error();
    }
    const wire::SyncAchieved& plan = answer.value();
    if (!same_plan(plan, predicted.achieved)) {
        return Error{
            ErrorKind::kInternal,
            fmt::format(
                "the bench makes another sync than this host computes: line rate {:.6f} Hz "
                "received, {:.6f} Hz expected (or other pulses); flash the firmware that belongs "
                "to this yokedock",
                line_rate(plan, identity_.clock_hz).hz(),
                line_rate(predicted.achieved, identity_.clock_hz).hz())};
    }
    const std::uint32_t wait =
        std::max(field_ticks(plan), plan_.has_value() ? field_ticks(*plan_) : 0u);
    plan_ = plan;
    const Status settled = wait_ticks(wait);
    if (!settled) {
        return settled.error();
    }
    return SyncReport{plan, line_rate(plan, identity_.clock_hz),
                      field_rate(plan, identity_.clock_hz),
                      line_rate_error(settings, plan, identity_.clock_hz)};
}

Status Bench::sync_output(bool on) {
    const auto answer =
        requester_->ask<requests::sync_output>({static_cast<std::uint8_t>(on ? 1 : 0)});
    if (!answer) {
        return answer.error();
    }
    sync_on_ = answer.value().enabled != 0;
    return plan_ ? wait_ticks(field_ticks(*plan_)) : Status(Done{});
}

Status Bench::sync_off() {
    const auto answer = requester_->ask<requests::sync_output>({0}, When::kEvenWhenStopped);
    if (!answer) {
        return answer.error();
    }
    sync_on_ = answer.value().enabled != 0;
    return Done{};
}

Status Bench::video(wire::VideoPattern pattern) const {
    return status_of(requester_->ask<requests::set_video>({static_cast<std::uint8_t>(pattern)}));
}

Result<wire::CaptureStarted> Bench::start_capture(const wire::CaptureSettings& settings) const {
    return requester_->ask<requests::start_capture>(settings);
}

Result<wire::CaptureStopped> Bench::stop_capture() const {
    return requester_->ask<requests::stop_capture>({}, When::kEvenWhenStopped);
}

Result<wire::ReadBlocksAnswer> Bench::read_blocks(const wire::ReadBlocksRequest& request,
                                                  const link::BlockSink& blocks) const {
    return requester_->ask<requests::read_blocks>(request, When::kUnlessStopped, blocks);
}

Result<wire::PowerAnswer> Bench::power_off() const {
    return requester_->ask<requests::power_off>({}, When::kEvenWhenStopped);
}

Result<wire::PowerAnswer> Bench::power_on(wire::BenchState stage) const {
    return requester_->ask<requests::power_on>({static_cast<std::uint8_t>(stage)});
}

Result<wire::PowerAnswer> Bench::power() const {
    return requester_->ask<requests::power>({});
}

std::optional<wire::StopCause> Bench::stands_against() const {
    const auto refused = requester_->refused();
    if (!refused || refused->reason != static_cast<std::uint8_t>(wire::RefusalReason::not_ready)) {
        return std::nullopt;
    }
    return static_cast<wire::StopCause>(refused->detail);
}

Status Bench::set_guard(const wire::GuardLimits& limits) const {
    return status_of(requester_->ask<requests::set_guard>(limits));
}

Result<wire::StepStarted> Bench::step_load(const wire::StepSettings& settings) const {
    return requester_->ask<requests::step_load>(settings);
}

Result<wire::StoreAnswer> Bench::write_calibration(const wire::Calibration& calibration) const {
    return requester_->ask<requests::write_calibration>(calibration);
}

Result<wire::StoreAnswer> Bench::store_state() const {
    return requester_->ask<requests::store_state>({});
}

Result<wire::CalibrationAnswer> Bench::read_calibration() const {
    return requester_->ask<requests::read_calibration>({});
}

Status Bench::wait_ticks(std::uint32_t ticks) const {
    auto now = status();
    if (!now) {
        return now.error();
    }
    const std::uint32_t begin = now.value().time;
    while (now.value().time - begin < ticks) {
        const Status paused = requester_->pause(kPollPause);
        if (!paused) {
            return paused;
        }
        now = status();
        if (!now) {
            return now.error();
        }
    }
    return Done{};
}

} // namespace yokedock::bench
