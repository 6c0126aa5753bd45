// SPDX-License-Identifier: MIT
// Everything a command touches outside itself, in one struct, so that a test can stand in for any
// of it.
#pragma once
#include "host/bench/bench.hpp"
#include "host/link/serial_transport.hpp"
#include "host/link/stop.hpp"
#include "host/result.hpp"
#include <functional>
#include <iosfwd>
#include <optional>
#include <string>
#include <vector>

namespace yokedock::cli {

struct Seams {
    std::ostream& out; ///< results
    std::ostream& err; ///< progress and warnings
    bool out_is_terminal = false;
    bool err_is_terminal = false;
    link::StopToken stop; ///< set by Ctrl-C
    std::function<Result<bench::Bench>(const std::string& address)> open_bench;
    std::function<Result<std::vector<link::SerialPortInfo>>()> list_serial_ports;
    std::function<std::string()> utc_now; ///< "2026-01-31T09:36:12Z"
    std::function<double()> steady_s;     ///< seconds that only go forward
    /// Feeds a program to gnuplot and returns the picture.
    std::function<Result<std::string>(const std::string& program)> draw;
    bool in_is_terminal = false; ///< a person can be asked
    /// The next line the person types, without its end; nothing when the input has ended or Ctrl-C
    /// was pressed. Blocks.
    std::function<std::optional<std::string>()> read_line = {};
};

/// What main() passes: the real ones.
[[nodiscard]] Seams real_seams(link::StopToken stop);

/// Parses the arguments (without the program's name), runs the command, prints. Returns the exit
/// code.
[[nodiscard]] int run_yokedock(const std::vector<std::string>& arguments, Seams& seams);

} // namespace yokedock::cli
