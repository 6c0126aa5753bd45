// SPDX-License-Identifier: MIT
#pragma once
#include "host/bench/bench.hpp"
#include "shared/sync/standards.hpp"
#include "tests/unit/link/fake_device.hpp"

namespace yokedock::test {

/// A session with the bench in memory.
struct BenchFixture {
    FakeDevice device;
    std::atomic<bool> stop_flag = false;
    DeviceTransport<FakeDevice>* transport = nullptr;

    [[nodiscard]] bench::Bench connect(Faults faults = {}) {
        auto owned = std::make_unique<DeviceTransport<FakeDevice>>(device, faults);
        transport = owned.get();
        return bench::Bench::connect(std::move(owned), "memory:", link::StopToken(stop_flag))
            .value();
    }

    /// With a sync set and sent.
    [[nodiscard]] bench::Bench connect_synced(Faults faults = {}) {
        bench::Bench bench = connect(faults);
        if (!bench.set_sync(sync::kStandards[0].settings).ok() || !bench.sync_output(true).ok()) {
            throw std::runtime_error("the fake device takes every standard");
        }
        return bench;
    }
};

} // namespace yokedock::test
