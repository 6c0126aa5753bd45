// SPDX-License-Identifier: MIT
// yokedock_virtual_bench: the unmodified firmware image on a simulated chip, wired to a simulated
// monitor board, its serial line on a socket.
#include "demo/virtual_bench/board/board.hpp"
#include "demo/virtual_bench/system/bench_server.hpp"
#include <CLI/CLI.hpp>
#include <atomic>
#include <csignal>
#include <cstdio>
#include <filesystem>
#include <fmt/core.h>
#include <fstream>
#include <iterator>
#include <map>
#include <optional>

namespace {

using namespace yokedock;
using namespace yokedock::sim;

struct Options {
    std::string board;
    std::vector<std::string> settings;
    std::string firmware;
    std::uint16_t port = 0;
    std::string unix_path;
    std::string eeprom_file;
    std::optional<std::uint32_t> seed;
    bool list_settings = false;
    bool statistics = false;
    BoardPower power = BoardPower::kRelays;
    ServeOptions serve;
};

std::atomic<bool> stop_asked = false;
static_assert(std::atomic<bool>::is_always_lock_free, "set from a signal handler");

void ask_to_stop(int) {
    stop_asked = true;
}

std::string from_program_folder(const char* relative) {
    std::error_code error;
    const auto program = std::filesystem::read_symlink("/proc/self/exe", error);
    return (program.parent_path() / relative).lexically_normal().string();
}

int fail(const Error& error) {
    fmt::print(stderr, "yokedock_virtual_bench: {}\n", error.text);
    return static_cast<int>(error.kind);
}

/// Board file, then the seed, then the settings in order: the later wins.
Result<BoardParameters> board_parameters(const Options& options) {
    const auto file = load_board(options.board);
    if (!file) {
        return file.error();
    }
    BoardParameters parameters = file.value().parameters;
    if (options.seed) {
        parameters.bench_seed = *options.seed;
        parameters.bench_noise_seed = *options.seed;
    }
    const Status applied = apply_settings(parameters, options.settings);
    if (!applied) {
        return applied.error();
    }
    return parameters;
}

void list_settings(const BoardParameters& parameters) {
    fmt::print("{:<36} {:>14} {:<7} {}\n", "path", "value", "unit", "meaning (lowest to highest)");
    for (const ParameterInfo& info : parameter_table()) {
        fmt::print("{:<36} {:>14.6g} {:<7} {} ({:g} to {:g})\n", info.path, parameters.*info.member,
                   info.unit, info.text, info.low, info.high);
    }
}

void print_statistics(const ServeSummary& summary) {
    const ChipStatistics& chip = summary.chip;
    const auto row = [](const char* what, std::uint64_t value) {
        fmt::print(stderr, "{:<58} {}\n", what, value);
    };
    fmt::print(stderr, "{:<58} {:.3f}\n", "simulated time, s", summary.simulated_s);
    row("timer 1 overflow to its handler, longest, cycles", chip.longest_overflow_to_entry);
    row("timer 1 overflow to the handler's return, longest, cycles",
        chip.longest_overflow_to_return);
    row("timer 1 overflows not served before the next", chip.overflows_merged);
    row("periods written too late", chip.top_missed);
    row("sync edges late at the board", summary.late_sync_edges);
    row("conversions", chip.adc_conversions);
    row("conversion triggers during a conversion", chip.adc_triggers_ignored);
    row("conversion results lost", chip.adc_results_lost);
    row("bytes received", chip.serial_received);
    row("bytes sent", chip.serial_sent);
    row("bytes real silicon would have lost in reception", chip.serial_overruns);
    row("bytes written into a full transmitter", chip.serial_overwritten);
    row("watchdog resets", chip.resets);
}

constexpr std::size_t kEepromBytes = 4096; // ATmega2560 data sheet, features

/// A file that is not there yet is a new chip's EEPROM.
Result<std::vector<std::uint8_t>> eeprom_of(const std::string& path) {
    if (path.empty() || !std::filesystem::exists(path)) {
        return std::vector<std::uint8_t>{};
    }
    std::ifstream file(path, std::ios::binary);
    std::vector<std::uint8_t> bytes{std::istreambuf_iterator<char>(file), {}};
    if (!file || bytes.size() != kEepromBytes) {
        return Error{ErrorKind::kFile,
                     fmt::format("cannot use EEPROM file {}: it has {} bytes, expected {} as this "
                                 "program writes them; give another file, or delete it",
                                 path, bytes.size(), kEepromBytes)};
    }
    return bytes;
}

Status keep_eeprom(const std::string& path, const std::vector<std::uint8_t>& bytes) {
    if (path.empty()) {
        return Done{};
    }
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    file.write(reinterpret_cast<const char*>(bytes.data()),
               static_cast<std::streamsize>(bytes.size()));
    if (!file.flush()) {
        return Error{ErrorKind::kFile,
                     fmt::format("the EEPROM could not be kept in {}; expected a file that can be "
                                 "written; check the path",
                                 path)};
    }
    return Done{};
}

int run(const Options& options) {
    const auto parameters = board_parameters(options);
    if (!parameters) {
        return fail(parameters.error());
    }
    if (options.list_settings) {
        list_settings(parameters.value());
        return 0;
    }
    auto server = options.unix_path.empty() ? SocketServer::listen_tcp(options.port)
                                            : SocketServer::listen_unix(options.unix_path);
    if (!server) {
        return fail(server.error());
    }
    const auto eeprom = eeprom_of(options.eeprom_file);
    if (!eeprom) {
        return fail(eeprom.error());
    }
    const BenchFactory make_bench = [&] {
        auto made = BenchSimulation::create(
            options.firmware, std::make_unique<Board>(parameters.value(), options.power));
        if (made && !eeprom.value().empty()) {
            made.value()->chip().set_eeprom(eeprom.value());
        }
        return made;
    };
    fmt::print("listening on {}\n", server.value()->address());
    std::fflush(stdout);
    const auto served = serve_bench(make_bench, *server.value(), options.serve, stop_asked);
    if (!served) {
        return fail(served.error());
    }
    fmt::print(stderr, "{}", served.value().board_words);
    if (const Status kept = keep_eeprom(options.eeprom_file, served.value().eeprom); !kept) {
        return fail(kept.error());
    }
    if (options.statistics) {
        print_statistics(served.value());
    }
    return 0;
}

void add_options(CLI::App& app, Options& options) {
    app.add_option("--board", options.board, "board file (JSON)")->capture_default_str();
    app.add_option("--set", options.settings,
                   "bend a value of the board: path=value, repeatable (see --list-settings)")
        ->type_name("PATH=VALUE")
        ->allow_extra_args(false);
    const std::map<std::string, BoardPower> powers{{"on", BoardPower::kAlwaysOn},
                                                   {"relays", BoardPower::kRelays}};
    app.add_option("--power", options.power,
                   "relays: as the firmware drives K1 to K5; on: the board is simply on, as with "
                   "yokedock's --supply outside")
        ->transform(CLI::CheckedTransformer(powers))
        ->type_name("on|relays")
        ->default_str("relays");
    app.add_flag("--list-settings", options.list_settings,
                 "list all values of the board, then end");
    app.add_option("--seed", options.seed,
                   "which bench: draws its noise, gain, zero and clock errors");
    auto* port = app.add_option("--listen", options.port, "TCP port on 127.0.0.1; 0: any free one")
                     ->type_name("PORT")
                     ->capture_default_str();
    app.add_option("--unix", options.unix_path, "Unix socket in place of TCP")
        ->type_name("PATH")
        ->excludes(port);
    app.add_option("--eeprom", options.eeprom_file,
                   "keep the bench's EEPROM (serial number, calibration) in this file; read at the "
                   "start, written at the end")
        ->type_name("FILE");
    app.add_flag("--pace", options.serve.pace, "real time (default: as fast as it goes)");
    app.add_flag("--reset-on-connect", options.serve.reset_on_connect,
                 "a bench just switched on for every client (default: it goes on)");
    app.add_flag("--exit-on-disconnect", options.serve.exit_on_disconnect,
                 "end when the first client has gone");
    app.add_option("--run-seconds", options.serve.run_s,
                   "run even without a client, and end after that much simulated time")
        ->type_name("S")
        ->check(CLI::PositiveNumber);
    app.add_flag("--statistics", options.statistics,
                 "tell at the end what the chip did, on stderr");
    app.add_option("--firmware", options.firmware, "firmware image (ELF)")
        ->type_name("FILE")
        ->capture_default_str();
}

int run_program(int argc, char** argv) {
    Options options;
    options.board = from_program_folder(YOKEDOCK_BOARD_FROM_HERE);
    options.firmware = from_program_folder(YOKEDOCK_FIRMWARE_FROM_HERE);
    CLI::App app("A simulated yokedock bench: the real firmware image on a simulated "
                 "microcontroller, wired to a\n"
                 "simulated monitor board. Simulated time passes only while a client is connected.",
                 "yokedock_virtual_bench");
    add_options(app, options);
    app.footer(
        "Example:\n"
        "  yokedock_virtual_bench --listen 4100 --set ramp.height_ohm=150000 &\n"
        "  yokedock run --bench tcp:127.0.0.1:4100 --profile "
        "demo/boards/quillwood13.profile.json\n\n"
        "Nothing here is live. On a real bench: lethal voltage at the anode even without a tube, "
        "boards live to\n"
        "the mains, charged reservoirs; isolate, discharge, one hand, and mind the local codes.");
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error) == 0 ? 0 : static_cast<int>(ErrorKind::kUsage);
    }
    struct sigaction action {};
    action.sa_handler = ask_to_stop; // without SA_RESTART: waiting ends at once
    sigaction(SIGINT, &action, nullptr);
    sigaction(SIGTERM, &action, nullptr);
    return run(options);
}

} // namespace

int main(int argc, char** argv) {
    try {
        return run_program(argc, argv);
    } catch (const std::exception& error) {
        std::fprintf(stderr,
                     "yokedock_virtual_bench: unexpected: %s; please report this (if memory was "
                     "short, close programs)\n",
                     error.what());
        return static_cast<int>(ErrorKind::kInternal);
    }
}
