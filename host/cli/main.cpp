// SPDX-License-Identifier: MIT
#include "host/cli/gnuplot.hpp"
#include "host/cli/seams.hpp"
#include <atomic>
#include <chrono>
#include <csignal>
#include <ctime>
#include <iostream>
#include <string>
#include <unistd.h>

namespace {

std::atomic<bool> stop_asked{false};

/// The first Ctrl-C asks for a clean end; a second one, should that hang, ends the program the hard
/// way.
extern "C" void on_signal(int number) {
    if (stop_asked.exchange(true)) {
        std::signal(number, SIG_DFL);
        std::raise(number);
    }
}

void take_signals() {
    struct sigaction action {};
    action.sa_handler = on_signal;
    ::sigemptyset(&action.sa_mask);
    for (const int number : {SIGINT, SIGTERM, SIGHUP}) {
        ::sigaction(number, &action, nullptr);
    }
    std::signal(SIGPIPE, SIG_IGN); // a reader that went away must not keep the board on
}

/// A signal ends the waiting for a line: its handler is set without SA_RESTART.
std::optional<std::string> read_line() {
    std::string line;
    if (!std::getline(std::cin, line)) {
        return std::nullopt;
    }
    return line;
}

std::string utc_now() {
    const std::time_t now = std::time(nullptr);
    std::tm parts{};
    ::gmtime_r(&now, &parts);
    char text[32];
    std::strftime(text, sizeof(text), "%Y-%m-%dT%H:%M:%SZ", &parts);
    return text;
}

} // namespace

namespace yokedock::cli {

Seams real_seams(link::StopToken stop) {
    return {std::cout,
            std::cerr,
            ::isatty(STDOUT_FILENO) != 0,
            ::isatty(STDERR_FILENO) != 0,
            stop,
            [stop](const std::string& address) { return bench::Bench::open(address, stop); },
            [] { return link::list_serial_ports(); },
            utc_now,
            [] {
                return std::chrono::duration<double>(
                           std::chrono::steady_clock::now().time_since_epoch())
                    .count();
            },
            [stop](const std::string& program) { return run_gnuplot(program, stop); },
            ::isatty(STDIN_FILENO) != 0,
            read_line};
}

} // namespace yokedock::cli

int main(int argc, char** argv) {
    take_signals();
    yokedock::cli::Seams seams = yokedock::cli::real_seams(yokedock::link::StopToken(stop_asked));
    return yokedock::cli::run_yokedock({argv + 1, argv + argc}, seams);
}
