// SPDX-License-Identifier: MIT
// The virtual bench in this process as a Transport: the link's clock is the simulation's, so a whole measurement
// through firmware and wire is repeatable to the bit and needs no socket.
#pragma once
#include "demo/virtual_bench/system/bench_simulation.hpp"
#include "host/link/transport.hpp"
#include <algorithm>
#include <deque>

namespace yokedock::test {

class SimulationTransport final : public link::Transport {
  public:
    /// The simulation must outlive the transport.
    explicit SimulationTransport(sim::BenchSimulation& bench) : bench_(bench) {}

    Result<std::size_t> read(std::span<std::uint8_t> into, link::Milliseconds timeout) override {
        if (received_.empty()) {
            const double limit_s = static_cast<double>(timeout.count()) * 1e-3;
            if (const Status run = bench_.run_until_output(limit_s); !run) {
                return run.error();
            }
            const auto bytes = bench_.take_output();
            received_.insert(received_.end(), bytes.begin(), bytes.end());
        }
        const std::size_t count = std::min(into.size(), received_.size());
        std::copy_n(received_.begin(), count, into.begin());
        received_.erase(received_.begin(), received_.begin() + static_cast<std::ptrdiff_t>(count));
        return count;
    }

    Status write_all(link::Bytes bytes, link::Milliseconds) override {
        bench_.send(bytes.data(), bytes.size());
        return Done{};
    }

    void close() override {}
    std::string kind() const override { return "memory"; }

    link::Clock::time_point now() const override {
        return link::Clock::time_point(std::chrono::duration_cast<link::Clock::duration>(
            std::chrono::duration<double>(bench_.time_s())));
    }

    void wait(link::Milliseconds duration) override {
        // A simulation that cannot run on shows itself at the next read.
        (void)bench_.run_seconds(static_cast<double>(duration.count()) * 1e-3).ok();
    }

  private:
    sim::BenchSimulation& bench_;
    std::deque<std::uint8_t> received_;
};

} // namespace yokedock::test
