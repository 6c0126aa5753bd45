// SPDX-License-Identifier: MIT
// The firmware's own request handling and block pool as a bench in memory, fed by a deterministic
// source of lines: one every kSourceLineTicks, with samples of mix(line) & 0x3FF. Time moves with
// the requests and stands still while the pool has little room, so that a slow link loses nothing.
#pragma once
#include "tests/unit/link/fake_device.hpp"
#include <memory>

namespace yokedock::test {

constexpr std::uint32_t kSourceLineTicks = 1016;

/// For DeviceTransport.
class FirmwareDevice {
  public:
    FirmwareDevice();
    ~FirmwareDevice();

    /// Bytes from the host in; the frames of the answer out.
    std::vector<std::vector<std::uint8_t>> receive(link::Bytes bytes);

  private:
    struct Parts;
    std::unique_ptr<Parts> parts_;
};

} // namespace yokedock::test
