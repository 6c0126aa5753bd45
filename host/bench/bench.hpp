// SPDX-License-Identifier: MIT
// The bench as the rest of the host sees it: its requests with their checks, and what it was last
// told.
#pragma once
#include "host/bench/rates.hpp"
#include "host/link/address.hpp"
#include "host/link/requester.hpp"
#include <optional>

namespace yokedock::bench {

/// What set_sync achieved.
struct SyncReport {
    wire::SyncAchieved plan;
    ExactRate line_rate;
    ExactRate field_rate;
    double line_rate_error_relative = 0; ///< achieved over asked, minus 1
};

/// A session with one bench. Movable. Requests block until answered (see link/requester.hpp for the
/// limits); errors: kLink, kRefused, kStopped, and kUsage where a setting can be refused without
/// asking.
class Bench {
  public:
    /// Identifies the bench and checks the protocol version.
    [[nodiscard]] static Result<Bench> connect(std::unique_ptr<link::Transport> transport,
                                               std::string address, link::StopToken stop = {});
    /// parse_address, open_transport, connect.
    [[nodiscard]] static Result<Bench> open(const std::string& address, link::StopToken stop = {});

    [[nodiscard]] const wire::IdentifyAnswer& identity() const { return identity_; }
    [[nodiscard]] const std::string& address() const { return address_; }
    [[nodiscard]] std::string transport_kind() const { return requester_->transport_kind(); }
    [[nodiscard]] link::Requester& requester() const { return *requester_; }

    [[nodiscard]] Result<wire::StatusAnswer> status() const;

    /// Sets the sync and waits until it is in force (one field). kUsage names the value that cannot
    /// be made; kInternal when the device's answer is not what this host computed for it.
    [[nodiscard]] Result<SyncReport> set_sync(const wire::SyncSettings& settings);
    /// Sync on all outputs or none; waits until it is so (one field, when the plan is known).
    [[nodiscard]] Status sync_output(bool on);
    /// Sync off all outputs, without waiting for it. Always tried, whatever the stop token or an
    /// earlier link error says.
    [[nodiscard]] Status sync_off();
    [[nodiscard]] Status video(wire::VideoPattern pattern) const;

    /// What set_sync of this session achieved; empty before it.
    [[nodiscard]] const std::optional<wire::SyncAchieved>& plan() const { return plan_; }
    /// As the device said at connect, or as set since.
    [[nodiscard]] bool sync_on() const { return sync_on_; }

    [[nodiscard]] Result<wire::CaptureStarted>
    start_capture(const wire::CaptureSettings& settings) const;
    /// Works when the stop token is set, too.
    [[nodiscard]] Result<wire::CaptureStopped> stop_capture() const;
    [[nodiscard]] Result<wire::ReadBlocksAnswer> read_blocks(const wire::ReadBlocksRequest& request,
                                                             const link::BlockSink& blocks) const;

    /// Always tried, whatever the stop token or an earlier link error says.
    [[nodiscard]] Result<wire::PowerAnswer> power_off() const;
    /// The next energise stage: checked, starting or live. kRefused says what stands against it.
    [[nodiscard]] Result<wire::PowerAnswer> power_on(wire::BenchState stage) const;
    [[nodiscard]] Result<wire::PowerAnswer> power() const;
    /// What stands against the newest request of this session where the bench refused it as not
    /// ready, and nothing else was asked since.
    [[nodiscard]] std::optional<wire::StopCause> stands_against() const;
    /// Limits of readings, raw codes; in state idle only.
    [[nodiscard]] Status set_guard(const wire::GuardLimits& limits) const;

    /// Begins current steps into one load, in state idle only (wire::StepSettings); power() tells
    /// how far it is, power_off() ends it.
    [[nodiscard]] Result<wire::StepStarted> step_load(const wire::StepSettings& settings) const;

    /// Begins to store a calibration in the bench; store_state() tells how far it is.
    [[nodiscard]] Result<wire::StoreAnswer>
    write_calibration(const wire::Calibration& calibration) const;
    [[nodiscard]] Result<wire::StoreAnswer> store_state() const;
    [[nodiscard]] Result<wire::CalibrationAnswer> read_calibration() const;

    /// Lets device time pass, asking for the status meanwhile (which keeps the session alive).
    [[nodiscard]] Status wait_ticks(std::uint32_t ticks) const;

  private:
    Bench(std::unique_ptr<link::Requester> requester, std::string address,
          const wire::IdentifyAnswer& identity, bool sync_on)
        : requester_(std::move(requester)), address_(std::move(address)), identity_(identity),
          sync_on_(sync_on) {}

    std::unique_ptr<link::Requester> requester_;
    std::string address_;
    wire::IdentifyAnswer identity_;
    std::optional<wire::SyncAchieved> plan_;
    bool sync_on_ = false;
};

/// Two plans make the same pulses.
[[nodiscard]] bool same_plan(const wire::SyncAchieved& a, const wire::SyncAchieved& b);

} // namespace yokedock::bench
