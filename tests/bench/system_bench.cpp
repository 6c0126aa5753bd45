// SPDX-License-Identifier: MIT
// What the virtual bench and a whole measurement cost: simulated against real time, samples against
// what the wire and the lines allow, bench seconds of a measurement. Prints; never judges by time.
#include "demo/virtual_bench/board/ideal_sync.hpp"
#include "host/capture/capture_run.hpp"
#include "tests/system/measured_board.hpp"
#include <chrono>
#include <cstdio>
#include <ctime>

using namespace yokedock;

namespace {

double cpu_seconds() {
    timespec now{};
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

double wall_seconds() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch())
        .count();
}

/// One sample on every line, all of one channel, with both retrace inputs stamped.
capture::CapturePhase every_line(double seconds) {
    capture::CapturePhase phase{"vertical", {}, seconds};
    phase.settings.adc_prescale_log2 = 5;
    phase.settings.line_edge_mode = static_cast<std::uint8_t>(wire::EdgeMode::kOff);
    phase.settings.field_edge_mode = static_cast<std::uint8_t>(wire::EdgeMode::kBoth);
    phase.settings.entries = 1;
    phase.settings.schedule[0] = {static_cast<std::uint8_t>(ChannelId::v_yoke_a), 300, 0, 1};
    return phase;
}

/// The same with the line edges on the wire, too. The device then samples every second line.
capture::CapturePhase everything(double seconds) {
    capture::CapturePhase phase = every_line(seconds);
    phase.settings.line_edge_mode = static_cast<std::uint8_t>(wire::EdgeMode::kRising);
    return phase;
}

} // namespace

TEST_CASE("benchmark of the virtual bench and of a measurement") {
    const auto file = sim::load_board(YOKEDOCK_BOARDS "/quillwood13.json");
    REQUIRE(file.ok());
    const wire::SyncSettings& settings = *sim::find_standard("525/59.94");
    auto simulation = sim::BenchSimulation::create(
        YOKEDOCK_FIRMWARE_ELF, std::make_unique<sim::Board>(file.value().parameters));
    REQUIRE(simulation.ok());
    auto bench = bench::Bench::connect(
        std::make_unique<test::SimulationTransport>(*simulation.value()), "simulated");
    REQUIRE(bench.ok());
    REQUIRE(bench.value().set_sync(settings).ok());
    REQUIRE(bench.value().sync_output(true).ok());
    REQUIRE(bench.value().wait_ticks(16000000).ok());

    constexpr double kSeconds = 2.0;
    constexpr double kLineRateHz = 4.5e6 / 286;
    // The simulated UART takes 11 bit times a byte, as some real ones do between bytes; 8N1
    // needs 10.
    constexpr double kWireSimulated = wire::kBaudRate / 11.0;
    const auto sent = [&] {
        return static_cast<double>(simulation.value()->chip().statistics().serial_sent);
    };
    const auto line_use = [&](const char* what, double bytes, double seconds) {
        std::printf(
            "  bytes on the wire meanwhile, %s %8.0f B/s, %5.1f %% of the simulated wire's %.0f\n",
            what, bytes / seconds, 100 * bytes / seconds / kWireSimulated, kWireSimulated);
    };
    // 8N1: 10 bits a byte. A full block of samples is 54 words in a frame of 231 bytes with its
    // end.
    constexpr double kWireSamples = 54.0 / 231.0 * wire::kBaudRate / 10.0;
    capture::TickAxis axis;
    {
        const double sent_begin = sent();
        const double begin_s = simulation.value()->time_s();
        const auto outcome = capture::run_capture(bench.value(), every_line(kSeconds), axis);
        REQUIRE_FALSE(outcome.error);
        const double sent_bytes = sent() - sent_begin;
        const double took_s = simulation.value()->time_s() - begin_s;
        const double rate = static_cast<double>(outcome.capture.samples.ticks.size()) / kSeconds;
        std::printf(
            "samples per simulated second, one per line:   %8.0f, %5.1f %% of the lines' %.0f "
            "(10 bits a byte, the wire could carry %.0f); words dropped %u\n",
            rate, 100 * rate / kLineRateHz, kLineRateHz, kWireSamples,
            outcome.capture.words_dropped);
        line_use("all frames:", sent_bytes, took_s);
    }
    {
        const double sent_begin = sent();
        const double sim_begin = simulation.value()->time_s();
        const double cpu_begin = cpu_seconds();
        const double wall_begin = wall_seconds();
        const auto outcome = capture::run_capture(bench.value(), everything(kSeconds), axis);
        REQUIRE_FALSE(outcome.error);
        const double cpu = cpu_seconds() - cpu_begin;
        const double wall = wall_seconds() - wall_begin;
        const double simulated = simulation.value()->time_s() - sim_begin;
        const auto& c = outcome.capture;
        std::printf(
            "samples of every second line and all line edges: %.0f samples/s of the %.0f possible, "
            "%.0f edges/s of %.0f; words dropped %u of %.0f\n",
            static_cast<double>(c.samples.ticks.size()) / kSeconds, kLineRateHz / 2,
            static_cast<double>(c.line_edges.ticks.size()) / kSeconds, kLineRateHz, c.words_dropped,
            static_cast<double>(c.samples.ticks.size() + c.line_edges.ticks.size() +
                                c.words_dropped));
        line_use("all frames:", sent() - sent_begin, simulated);
        std::printf("simulated against real time, all hooked:      %8.2f by CPU time, %.2f by the "
                    "clock on the wall (host included)\n",
                    simulated / cpu, simulated / wall);
    }
    const auto status = bench.value().status();
    REQUIRE(status.ok());
    std::printf("longest slot handler in these captures:       %8u of 508 cycles\n",
                status.value().longest_slot_cycles);
    const double cpu_begin = cpu_seconds();
    const auto measured = test::measure_board(file.value().parameters, settings);
    std::printf("a measurement:                                %8.2f bench seconds, %.2f s of CPU "
                "time with its analysis\n",
                measured.outcome.bench_seconds, cpu_seconds() - cpu_begin);
}
