// SPDX-License-Identifier: MIT
// Offers a simulated bench's serial line to socket clients, one after the other. Simulated time
// passes only while a client is connected (or when a run time was asked for) and stands still while
// the client does not take its bytes.
#pragma once
#include "demo/virtual_bench/system/bench_simulation.hpp"
#include "demo/virtual_bench/system/socket_server.hpp"
#include <atomic>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace yokedock::sim {

using BenchFactory = std::function<Result<std::unique_ptr<BenchSimulation>>()>;

struct ServeOptions {
    bool pace = false;               ///< hold simulated time back to the wall clock
    bool exit_on_disconnect = false; ///< end when the first client has gone
    bool reset_on_connect = false;   ///< a new bench for every client but the first
    std::optional<double>
        run_s; ///< run with or without client and end after that much simulated time
};

/// What the last bench did.
struct ServeSummary {
    double simulated_s = 0;
    std::uint64_t late_sync_edges = 0;
    ChipStatistics chip;
    std::string board_words;          ///< see BoardPort::closing_words
    std::vector<std::uint8_t> eeprom; ///< what the chip's EEPROM holds; it outlives resets
};

/// Serves until `stop`, or as the options say. make_bench is called once at the start and for every
/// reset. Errors: the firmware crashed, or make_bench failed.
Result<ServeSummary> serve_bench(const BenchFactory& make_bench, SocketServer& server,
                                 const ServeOptions& options, const std::atomic<bool>& stop);

} // namespace yokedock::sim
