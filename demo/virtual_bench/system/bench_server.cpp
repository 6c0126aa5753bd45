// SPDX-License-Identifier: MIT
#include "demo/virtual_bench/system/bench_server.hpp"
#include <chrono>
#include <thread>

namespace yokedock::sim {
namespace {

using WallClock = std::chrono::steady_clock;

constexpr Cycle kStepCycles = 16'000;                       // 1 ms between looks at the socket
constexpr int kIdleWaitMs = 100;                            // then look at `stop` again
constexpr std::size_t kMostUnsent = std::size_t{64} * 1024; // on top of what the kernel buffers

/// Keeps simulated time from running ahead of the wall clock. Lost time is not caught up after a
/// pause.
class Pacer {
  public:
    void restart(double simulated_s) {
        wall_ = WallClock::now();
        simulated_s_ = simulated_s;
    }
    void hold(double simulated_s) const {
        const std::chrono::duration<double> due(simulated_s - simulated_s_);
        std::this_thread::sleep_until(wall_ + std::chrono::duration_cast<WallClock::duration>(due));
    }

  private:
    WallClock::time_point wall_ = WallClock::now();
    double simulated_s_ = 0;
};

ServeSummary summary_of(BenchSimulation& bench) {
    return {bench.time_s(), bench.late_sync_edges(), bench.chip().statistics(),
            bench.board().closing_words(), bench.chip().eeprom()};
}

} // namespace

Result<ServeSummary> serve_bench(const BenchFactory& make_bench, SocketServer& server,
                                 const ServeOptions& options, const std::atomic<bool>& stop) {
    auto made = make_bench();
    if (!made) {
        return made.error();
    }
    auto bench = std::move(made).value();
    Pacer pacer;
    bool first_client = true;
    while (!stop && !(options.run_s && bench->time_s() >= *options.run_s)) {
        switch (server.poll()) {
        case SocketServer::Event::kConnected:
            if (options.reset_on_connect && !first_client) {
                auto again = make_bench();
                if (!again) {
                    return again.error();
                }
                again.value()->chip().set_eeprom(bench->chip().eeprom());
                bench = std::move(again).value();
            }
            first_client = false;
            bench->take_output(); // said to nobody, before this client came
            pacer.restart(bench->time_s());
            break;
        case SocketServer::Event::kDisconnected:
            if (options.exit_on_disconnect) {
                return summary_of(*bench);
            }
            break;
        case SocketServer::Event::kNothing:
            break;
        }
        bench->send(server.take_received());
        const bool running = server.connected() || options.run_s.has_value();
        if (!running || server.unsent() > kMostUnsent) {
            server.wait(kIdleWaitMs);
            pacer.restart(bench->time_s());
            continue;
        }
        const Status status = bench->run_cycles(kStepCycles);
        if (!status) {
            return status.error();
        }
        server.send(bench->take_output());
        if (options.pace) {
            pacer.hold(bench->time_s());
        }
    }
    return summary_of(*bench);
}

} // namespace yokedock::sim
